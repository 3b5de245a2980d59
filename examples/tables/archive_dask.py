"""An archive too large for one computer: the same evaluation, over partitions of a cluster.

`python archive_dask.py FOLDER 20000` makes an export, judges it on a cluster of two processes and
once more in this process alone, and compares what came out. With `Client("tcp://scheduler:8786")`
in place of the local cluster, it runs on as many machines as there are.
"""

import sys
from io import StringIO
from pathlib import Path

import dask.dataframe as dd
import pandas as pd
from dask.distributed import Client, LocalCluster
from make_export import lines

from weighworthy import frames

MAPPING = str(Path(__file__).with_name("harbour.toml"))


def judged(part: pd.DataFrame) -> pd.DataFrame:
    """One partition; each process has a service of its own."""
    return frames.evaluate(part, MAPPING)


def main(folder: Path, rows: int) -> None:
    """Judge the export twice, and write both results."""
    # Cells stay the texts that they are; what they mean, the mapping says.
    table = "\n".join(line for line in list(lines(rows))[2:] if line)
    frame = pd.read_csv(StringIO(table), sep=";", dtype="string", keep_default_na=False)
    alone = judged(frame)
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        Client(cluster),
    ):
        parts = dd.from_pandas(frame, npartitions=4)
        together = parts.map_partitions(judged, meta=alone.head(0)).compute()
    for name, result in (("one", alone), ("many", together)):
        result.to_csv(folder / f"{name}.csv", index=False)
    print(f"{len(together)} rows, the same: {together.equals(alone)}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))

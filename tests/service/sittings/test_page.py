"""The report of a sitting: what is in the answer is on the page, in both languages."""

import re

import pytest


def page(client, common, checks, language="en"):
    response = client.post(
        f"/v1/sittings?lang={language}",
        json={**common, "checks": checks},
        headers={"Accept": "text/html"},
    )
    assert response.status_code == 200, response.get_data(as_text=True)
    assert response.content_type.startswith("text/html")
    return re.sub(r"\s+", " ", re.sub("<[^>]*>", " ", response.get_data(as_text=True)))


def test_failure_with_its_causes(client, common, span, loss, linearity):
    text = page(client, common, [span(), linearity(), loss("9.992 g")])
    assert "3 checks of one balance" in text
    assert "The balance must not be used under this profile." in text
    assert "What can be behind it: check 3" in text
    # 9.992 g in place of 10 g: 8 mg less, ± 0.014 % · 12 g/100 % = 1.7 mg and more.
    row = re.search(r"Change of zero during this check alone (\S+) to (\S+) mg possible", text)
    assert row is not None
    ends = [float(end.replace("\N{MINUS SIGN}", "-")) for end in row.groups()]
    assert ends[0] < -8 < ends[1]
    assert re.search(r"Departure from linearity .{0,60} ruled out", text)
    assert "What cannot be both" in text
    assert "Does not act on this value: Constant gain error (relative)" in text


def test_in_german(client, common, span, loss):
    text = page(client, common, [span("50.012 g"), loss()], "de")
    assert "Gleichbleibende Abweichung der Empfindlichkeit (relativ)" in text
    assert "2 Prüfungen einer Waage" in text
    assert not re.search("What|possible|ruled out|Next", text)


def test_feeding_and_findings(client, common, loss):
    runs = [{"initial": "0.000 g", "final": "-0.003 g", "chamber_temperature": "105 Cel"}]
    blank = {"check": "blank-run", "pan": "empty", "sample_mass": "12 g", "runs": runs}
    void = loss(warm_up="5 min")
    text = page(client, common, [blank, loss(heating=True), void])
    assert "Hot zero drift: 0.004 g" in text
    assert "Check 3 (simulated-loss) is void" in text
    assert "Beside the verdict, not in it." in text


def test_nothing_of_the_sender_is_markup(client, common, loss):
    common["instrument"]["id"] = "<script>x</script>"
    response = client.post(
        "/v1/sittings",
        json={**common, "checks": [loss()]},
        headers={"Accept": "text/html"},
    )
    assert "<script" not in response.get_data(as_text=True)
    assert "default-src 'none'" in response.headers["Content-Security-Policy"]


@pytest.mark.parametrize("broken", ["evidence", "losses", "because"])
def test_kept_answer_that_is_none(client, common, loss, broken):
    answer = client.post("/v1/sittings", json={**common, "checks": [loss()]}).get_json()
    whole = client.post("/v1/reports", json={"answer": answer}, headers={"Accept": "text/html"})
    assert whole.status_code == 200
    assert "taken at its word" in whole.get_data(as_text=True)
    answer[broken] = 5
    response = client.post("/v1/reports", json={"answer": answer})
    assert response.status_code == 422

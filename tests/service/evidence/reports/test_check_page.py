import re
from base64 import b64encode
from hashlib import sha256
from typing import Any

import pytest

from weighworthy_service.checks.registry import BY_SLUG, KINDS
from weighworthy_service.evidence.languages import LANGUAGES
from weighworthy_service.evidence.reports.check_page import check_page

SLUGS = [kind.slug for kind in KINDS]
WORDS = {
    "en": {"pass": "Pass", "fail": "Fail", "void": "Void", "conditional-pass": "Conditional pass"},
    "de": {
        "pass": "Bestanden",
        "fail": "Nicht bestanden",
        "void": "Ungültig",
        "conditional-pass": "Bedingt bestanden",
    },
}


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("slug", SLUGS)
def test_every_number_of_the_answer_is_there_with_all_digits(
    slug: str, language: str, drawn: Any, numbers: Any, written: Any
) -> None:
    answer = BY_SLUG[slug].example["answer"]
    found = set(numbers({k: answer[k] for k in ("criteria", "results", "engine")}))
    assert len(found) > 20
    tokens = drawn(slug, language).tokens
    missing = {written(number, language) for number in found} - tokens
    assert missing == set()


@pytest.mark.parametrize("slug", SLUGS)
def test_every_finding_profile_and_digest_is_there(slug: str, drawn: Any, example: Any) -> None:
    answer, _ = example(slug)
    text = drawn(slug).text
    for finding in answer["findings"]:
        message = finding["message"]
        assert message in text or message[0].upper() + message[1:] in text
        assert finding["code"] in text
    for row in answer["results"].get("reveals", ()):
        assert row["message"] in text
    assert answer["profile"]["digest"] in text
    assert answer["request_digest"] in text
    assert f"{answer['profile']['id']}@{answer['profile']['revision']}" in text


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("verdict", WORDS["en"])
def test_a_verdict_stands_there_in_words_and_shape(
    verdict: str, language: str, example: Any, read: Any
) -> None:
    answer, request = example("simulated-loss")
    answer["verdict"] = verdict
    page = read(check_page(answer, request, language, "judged").html)
    assert WORDS[language][verdict] in page.text
    assert re.search(rf'<section class="verdict {verdict}">\s*<svg', page.html)


@pytest.mark.parametrize(
    ("language", "decided"), [("en", "Decided by"), ("de", "Entschieden durch")]
)
def test_no_criterion_is_said_to_have_made_a_check_void(
    language: str, decided: str, example: Any, read: Any
) -> None:
    answer, request = example("span")
    why = {"code": "unstable", "severity": "void", "field": "/rounds/0/stable"}
    why["message"] = "the reading had not settled"
    answer |= {"verdict": "void", "verdict_if_valid": "pass", "usable": False}
    answer["findings"] = [why, {**why, "field": "/rounds/1/stable"}, *answer["findings"]]
    html = check_page(answer, request, language, "judged").html
    section = re.search(r'<section class="verdict void">.*?</section>', html, re.DOTALL)
    assert section is not None
    assert decided not in section[0]
    finding = re.search(r"<h2>(?:Findings|Feststellungen)</h2>.*?</section>", html, re.DOTALL)
    assert finding is not None
    said = {"en": "The reading had not settled", "de": "Die Anzeige stand noch nicht still"}
    assert said[language] in finding[0]
    assert section[0].count(said[language]) == 1


def test_no_two_verdicts_have_the_same_shape(example: Any) -> None:
    shapes = set()
    for verdict in ("pass", "conditional-pass", "conditional-fail", "fail", "void", None):
        answer, _ = example("simulated-loss")
        answer["verdict"] = verdict
        html = check_page(answer, None, "en", "judged").html
        section = re.search(r'<section class="verdict.*?(<svg.*?</svg>)', html, re.DOTALL)
        assert section is not None
        shapes.add(re.sub(r'(fill|stroke)="[^"]*"', "", section[1]))
    assert len(shapes) == 6


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("slug", SLUGS)
def test_there_is_no_script_and_nothing_from_outside(slug: str, language: str, drawn: Any) -> None:
    page = drawn(slug, language)
    assert not {tag for tag, _ in page.elements} & {
        *("script", "link", "img", "iframe", "object", "form", "base", "image", "use", "a")
    }
    assert "http" not in page.html
    assert "url(" not in page.html
    assert "@import" not in page.html
    for _, attributes in page.elements:
        assert not {"src", "href", "style", "srcset", "xlink:href"} & attributes.keys()
        assert not any(name.startswith("on") for name in attributes)


def test_the_policy_lets_the_page_have_its_own_style_alone(example: Any) -> None:
    answer, request = example("span")
    page = check_page(answer, request, "de", "judged")
    styles = re.findall("<style>(.*?)</style>", page.html, re.DOTALL)
    assert len(styles) == 1
    digest = b64encode(sha256(styles[0].encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in page.policy
    assert page.policy.startswith("default-src 'none'")


def test_hostile_texts_stay_texts(example: Any, read: Any) -> None:
    answer, request = example("span")
    evil = """</style><script>alert("1")</script>'}; } body { display: none"""
    request["instrument"] |= {"id": evil, "model": evil, "site": evil}
    request |= {"method": evil, "performed_by": evil}
    request["weights"] = {evil: {"nominal": "20 g", "certificate": evil}}
    for row in request["rounds"]:
        row["load"] = [evil]
    answer["labels"] = {evil: evil}
    answer["check"] = evil
    answer["request_digest"] = evil
    answer["profile"] = {"id": evil, "revision": evil, "digest": evil}
    for finding in answer["findings"]:
        finding |= {"message": evil, "field": evil, "code": evil}
    for criterion in answer["criteria"]:
        criterion |= {"limit_source": evil, "decision_rule": evil, "name": evil}
    page = read(check_page(answer, request, "en", "judged").html)
    assert "script" not in {tag for tag, _ in page.elements}
    assert page.text.count('<script>alert("1")</script>') > 10
    assert "<script" not in page.html
    assert page.html.count("</style>") == 1


def test_values_are_shown_in_milligrams_to_the_place_of_their_uncertainty(
    example: Any, read: Any
) -> None:
    answer, request = example("span")
    # Beside a limit of 5 mg, 5.004 mg must not look as if it lay on it.
    for criterion, value in zip(answer["criteria"], (0.00912, 0.005004), strict=False):
        criterion |= {"value": value, "expanded_uncertainty": 0.0018}
        criterion |= {"lower_limit": -0.005, "upper_limit": 0.005, "unit": "g", "verdict": "fail"}
    english = read(check_page(answer, request, "en", "judged").html).text
    assert "9.1 ± 1.8 mg −5 to 5 mg" in english
    assert "5.004 ± 1.8 mg" in english
    german = read(check_page(answer, request, "de", "judged").html).text
    assert "9,1 ± 1,8 mg −5 bis 5 mg" in german


@pytest.mark.parametrize(
    ("slug", "drawing"),
    [("linearity", "Error of indication against load")],
)
def test_there_is_a_drawing(slug: str, drawing: str, drawn: Any) -> None:
    assert f"<title>{drawing}</title>" in drawn(slug).html


def test_a_series_is_drawn_against_time(example: Any, read: Any) -> None:
    answer, request = example("simulated-loss")
    request["series"] = [
        {"at": "0 s", "indication": "12 g"},
        {"at": "300 s", "indication": "11 g"},
        {"at": "600 s", "indication": "10 g"},
    ]
    html = check_page(answer, request, "en", "judged").html
    assert "<title>Indication against time</title>" in html
    assert "Time since the start in min" in html
    without = check_page(answer, {**request, "series": []}, "en", "judged").html
    assert "Indication against time" not in without


def test_the_order_of_a_json_object_does_not_matter(example: Any) -> None:
    answer, request = example("simulated-loss")

    def turned(value: Any) -> Any:
        if isinstance(value, dict):
            return {name: turned(value[name]) for name in reversed(value)}
        return value

    # Weights stand in the order of their use, which lists keep.
    assert (
        check_page(answer, request, "en", "judged").html
        == check_page(answer, turned(request), "en", "judged").html
    )


def test_an_answer_alone_says_what_is_not_there(drawn: Any) -> None:
    text = drawn("span", alone=True).text
    assert "The request of this check was not at hand" in text
    assert "With which weights" not in text


def test_it_says_where_it_comes_from(example: Any) -> None:
    answer, request = example("span")
    assert "Judged from the request" in check_page(answer, request, "en", "judged").html
    assert "taken at its word" in check_page(answer, None, "en", "stored").html
    kept = check_page(answer, request, "de", "stored-with-request").html
    assert "deren Prüfsumme sie nennt" in kept


def test_a_short_answer_has_no_budgets(example: Any) -> None:
    answer, request = example("linearity")
    for criterion in answer["criteria"]:
        criterion["budget"] = []
    assert "Uncertainty budgets" not in check_page(answer, request, "en", "judged").html


def test_the_largest_contributions_are_named(example: Any, read: Any) -> None:
    answer, request = example("simulated-loss")
    # Squares 9, 16 and 0: of 25 these are 36 %, 64 % and nothing.
    rows = answer["criteria"][0]["budget"][:3]
    for row, name, contribution in zip(
        rows, ("first", "second", "third"), (0.003, 0.004, 0.0), strict=True
    ):
        row |= {"source": name, "contribution": contribution}
    answer["criteria"][0]["budget"] = rows
    text = read(check_page(answer, request, "en", "judged").html).text
    assert "Largest contributions: Second (64 %), First (36 %)." in text


def test_places_are_counted_in_words_of_the_kind(drawn: Any) -> None:
    """The worst of three set points is the third, of three runs the first."""
    assert "set point 3" in drawn("heater").text
    assert "Solltemperatur 3" in drawn("heater", "de").text
    assert "run 1" in drawn("blank-run").text
    assert "reading 3" not in drawn("heater").text


def test_figures_without_end_are_cut_among_the_readings(drawn: Any) -> None:
    """100 · (3.012 - 2.542)/3.012 = 15.604249667994…, which the annex alone has with all digits."""
    text = drawn("reference-material").text.replace("\N{NO-BREAK SPACE}", " ")
    assert "15.60425 %" in text
    assert "15.6042496679947 %" not in text

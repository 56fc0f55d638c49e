"""Pages say what the study says: counts in captions, verdicts in words, sums that add up."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from studies import grids, hostile, no_failures, one_position, seven_months, two_sites

from seallife.history import mtbr
from seallife.life.fits import fit_lives
from seallife.life.tablefits import rates_of_lives
from seallife.report import CAUTIONS, SHORT_CAUTION, build_pages
from seallife.report.classtable import class_table, class_warnings
from seallife.report.exhibit import Exhibit, Points, Text
from seallife.report.format import count
from seallife.report.pages import PAGES, lasting
from seallife.report.pages.lasting import shown_classes
from seallife.report.pages.trend import outage_spans, shown_verdicts
from seallife.report.pages.year import requests, verdict_texts
from seallife.report.yearwords import findings_in_words
from seallife.study import Study

STUDIES = [grids, two_sites, no_failures, one_position, seven_months, hostile]


def _exhibit(study: Study, name: str) -> Exhibit:
    return next(e for p in build_pages(study) for e in p.exhibits if e.name == name)


def _texts(study: Study) -> str:
    out = []
    for page in build_pages(study):
        for block in page.blocks:
            if isinstance(block, Text):
                out.append(block.text)
            elif isinstance(block, Points):
                out += block.items
            else:
                out += [block.title, block.caption, block.alt]
                if block.shown is not None:
                    out += [
                        *map(str, block.shown.columns),
                        *block.shown.astype(str).to_numpy().ravel(),
                    ]
    return "\n".join(out)


def test_pages_stand_in_order_under_their_titles() -> None:
    assert [p.title for p in PAGES] == [
        "The year in one page",
        "How long seals last here",
        "Are we getting better?",
        "Where it hurts",
        "Why seals fail",
        "Leakage",
        "Spares: what to order, and when",
        "What to renew, and when",
        "How far to trust this",
        "Cautions",
    ]


@pytest.mark.parametrize("study", STUDIES, ids=lambda f: f.__name__)
def test_no_reader_ever_meets_nan_or_inf(study) -> None:
    text = _texts(study())
    assert not re.search(r"\b(nan|NaN|inf|Infinity|NaT)\b", text)
    assert not re.search(r"\bNone\b(?! of them)", text)


@pytest.mark.parametrize("study", STUDIES, ids=lambda f: f.__name__)
def test_every_exhibit_has_caption_table_and_words_for_its_figure(study) -> None:
    for page in build_pages(study()):
        for exhibit in page.exhibits:
            assert len(exhibit.caption) > 20, exhibit.name
            assert len(exhibit.table.columns), exhibit.name
            assert exhibit.figure is None or exhibit.alt, exhibit.name
            assert exhibit.figure is not None or exhibit.shown is not None, exhibit.name


@pytest.mark.parametrize("name", ["survival", "life-by-class", "classes"])
def test_captions_of_fits_carry_counts_level_clock_and_method(name: str) -> None:
    study = grids()
    caption = _exhibit(study, name).caption
    table = study.fits.table
    assert f"{int(table['n'].sum())} lives: {int(table['failures'].sum())} failures" in caption
    assert f"{int(table['censored'].sum())} withdrawn" in caption
    for words in ("late entry", "calendar years", "likelihood", "90 %", "one seal position"):
        assert words in caption


@pytest.mark.parametrize("name", ["rolling", "months", "mtbf-by-class", "where-we-stand"])
def test_captions_of_rates_carry_counts_level_clock_and_definition(name: str) -> None:
    caption = _exhibit(two_sites(), name).caption
    row = two_sites().history.overall.iloc[0]
    assert f"{row['removals']} removals, {row['failures']} failures" in caption
    for words in ("divided by seal failures", "calendar", "Poisson", "90 %", "one seal position"):
        assert words in caption


def test_where_we_stand_is_exposure_over_events() -> None:
    table = _exhibit(two_sites(), "where-we-stand").table
    again = mtbr(table["exposure_years"], table["events"])
    np.testing.assert_allclose(table["years"], again["mean_time"])
    np.testing.assert_allclose(table["low"], again["low"])
    mtbf, mtbr_ = (table[table["measure"] == m]["years"].to_numpy() for m in ("MTBF", "MTBR"))
    assert (mtbf >= mtbr_).all()


def test_verdict_is_the_verdict_of_the_history() -> None:
    first, second = verdict_texts(two_sites())
    row = two_sites().history.recent.iloc[0]
    assert first.strong
    assert {
        "improved": "Improved",
        "worse": "Worse",
        "no evidence": "No evidence",
        "cannot tell yet": "cannot be told yet",
    }[row["verdict"]] in first.text
    assert count(row["failures_after"], "failure") in second.text[0].lower() + second.text[1:]
    assert row["message"] in second.text


def test_first_page_has_at_most_four_findings_and_three_requests() -> None:
    for study in (f() for f in STUDIES):
        assert len(findings_in_words(study)) <= 4
        assert 1 <= len(requests(study)) <= 3


def test_unknown_reasons_are_told_with_their_effect() -> None:
    study = two_sites()
    row = study.history.overall.iloc[0]
    told = next(t for t in findings_in_words(study) if "why the seal came out" in t)
    other = row["exposure_years"] / (row["failures"] - row["unknown"])
    assert f"{row['unknown']} of {row['removals']} removals" in told
    assert f"{other:.1f}" in told or f"{other:.0f}" in told


def test_requests_name_the_largest_open_questions_first() -> None:
    asks = hostile().findings.query("severity == 'ask'")
    if len(asks):
        assert asks["check"].value_counts().index[0] in requests(hostile())[0]
    assert requests(no_failures()) or asks.empty


def test_class_table_adds_up_and_agrees_with_its_parts() -> None:
    study = two_sites()
    table = class_table(study).set_index("service_class")
    whole = study.history.overall.iloc[0]
    assert table["positions"].sum() == whole["positions"]
    assert table["failures"].sum() == whole["failures"]
    assert table["exposure_years"].sum() == pytest.approx(whole["exposure_years"])
    at = study.fits.survival.set_index(["service_class", "age_h"])
    for age in (8_760, 25_000):
        shown, wanted = table[f"survival_{age}h"], at["survival"].xs(age, level="age_h")
        np.testing.assert_allclose(shown.loc[wanted.index], wanted)
    row = study.fits["MANY"]
    assert table.loc["MANY", "b10_years"] == pytest.approx(row["b10_h"] / 8766)
    assert table.loc["MANY", "shape_low"] == pytest.approx(row["shape_low"])


def test_share_beyond_the_oldest_seal_is_not_given() -> None:
    study = grids()
    table = class_table(study)
    assert (table["oldest_years"] * 365.25 < 1_041).all()
    assert table["survival_1042d"].isna().all()
    shown = shown_classes(study, table)
    assert set(shown["Still running at 1,042 d"]) == {"not seen"}
    assert shown["Still running at 365 d"].str.contains("%").all()


def test_thin_class_is_told_in_words_not_in_figures() -> None:
    study = two_sites()
    table = class_table(study)
    shown = shown_classes(study, table).set_index("Class")
    assert shown.loc["FEW", "Shape"] == "few failures"
    assert shown.loc["FEW", "B10, run y"] == "few failures"
    assert any(w.startswith("FEW ") for w in class_warnings(table))


def test_class_without_failure_has_a_lower_limit_for_its_mtbf() -> None:
    table = class_table(no_failures())
    warning = class_warnings(table)[0]
    assert "cannot be fitted because" in warning
    assert "MTBF: more than" in warning


def test_months_carry_the_removals_they_count() -> None:
    table = _exhibit(two_sites(), "months").table
    ids = table["removal_ids"].str.split().map(len)
    assert (ids == table["failures"]).all()


def test_verdict_table_has_a_row_for_each_group_and_counts_what_chance_gives() -> None:
    study = two_sites()
    exhibit = _exhibit(study, "verdicts")
    recent = study.history.recent
    assert len(exhibit.shown) == (~recent["by"].isin(["arrangement", "pump_type"])).sum()
    assert "by chance alone" in exhibit.caption
    assert set(shown_verdicts(exhibit.table)["Kind"]) == {
        "whole fleet",
        "site",
        "unit",
        "service class",
    }


def test_ledger_shown_adds_up() -> None:
    for study in (f() for f in STUDIES):
        shown = _exhibit(study, "ledger").shown
        read, used, aside = (
            shown[c].str.replace(",", "").astype(int) for c in ("Read", "Used", "Set aside")
        )
        assert (read == used + aside).all()


def test_findings_are_counted_by_check_and_none_is_lost() -> None:
    study = hostile()
    table = _exhibit(study, "findings-by-check").table
    assert table["records"].sum() == len(study.findings)
    assert table["set_aside"].sum() == study.findings["set_aside"].sum()


def test_sensitivity_takes_unknown_reasons_the_other_way() -> None:
    study = two_sites()
    table = _exhibit(study, "sensitivity").table.set_index("group")
    whole = study.history.overall.iloc[0]
    other = whole["exposure_years"] / (whole["failures"] - whole["unknown"])
    assert table.loc["whole fleet", "other_mtbf_years"] == pytest.approx(other)
    assert table.loc["MANY", "other_shape"] == pytest.approx(study.life.fits_other["MANY"]["shape"])


def test_rules_show_how_many_positions_each_decided() -> None:
    exhibit = _exhibit(no_failures(), "class-rules")
    water = exhibit.shown[exhibit.shown["Class"] == "WATER"]
    assert water["Positions decided"].tolist() == ["8"]


def test_hours_are_told_by_where_they_come_from() -> None:
    table = _exhibit(no_failures(), "hours-from").table
    assert table["hours_from"].tolist() == ["duty share"]
    assert table["positions"].tolist() == [8]


def test_no_outage_table_no_strips() -> None:
    assert outage_spans(grids()) == ()


def test_cautions_are_all_printed() -> None:
    text = _texts(grids())
    assert len(CAUTIONS) == 12
    for caution in CAUTIONS:
        assert caution.text in text
    assert SHORT_CAUTION.count("\n") <= 1


def test_forbidden_words_are_not_used() -> None:
    text = _texts(two_sites()).lower()
    for words in ("safe to run", "remaining life", "worn out"):
        assert words not in text


def test_records_shorter_than_a_year_say_so_in_the_place_of_a_rolling_figure() -> None:
    text = _texts(seven_months())
    assert "No twelve whole months are on record" in text
    assert "no twelve whole months on record" in text
    names = {e.name for p in build_pages(seven_months()) for e in p.exhibits}
    assert "rolling" not in names
    assert "months" in names


def test_curve_that_fell_to_zero_too_soon_is_told() -> None:
    """Three seals watched from late ages outlive the only one watched from new."""
    rows = [
        {"life_id": str(i), "service_class": "A", "age_known": True, "end": end,
         "entry_age_d": entry, "exit_age_d": age}
        for i, (entry, age, end) in enumerate(
            [(0, 50, "failed")] + [(100, 200 + 10 * i, "failed") for i in range(6)]
        )
    ]  # fmt: skip
    lives = pd.DataFrame(rows)
    study = replace(grids())
    # in the place of those it would make
    vars(study.life)["fits"] = fit_lives(lives, clock="calendar_d", hazards=True)
    vars(study.life)["rates"] = rates_of_lives(lives, clock="calendar_d")
    points = [b for b in lasting.build(study) if isinstance(b, Points)]
    assert any("A: its steps fall to zero" in item for p in points for item in p.items)

"""The picture of growth holds the figures of the result and nothing else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from studies import hostile, no_failures, two_sites
from test_growth import growth

from seallife.errors import InputError
from seallife.figures.growth import growth_figure
from seallife.history import Growth


@pytest.fixture(scope="module")
def sites() -> Growth:
    return growth(two_sites())


def test_steps_are_the_failures_against_exposure(sites: Growth) -> None:
    figure = growth_figure(sites, ["Site"])
    rows = sites.failures("Site")
    trace = next(t for t in figure.data if t.name == "failures")
    np.testing.assert_allclose(trace.x[1:-1], rows["exposure_years"], atol=1e-3)
    assert list(trace.y[1:-1]) == rows["number"].tolist()
    assert (trace.x[0], trace.y[0]) == (0, 0)
    assert trace.x[-1] == pytest.approx(sites["Site"]["exposure_years"], abs=1e-3)


def test_no_change_is_a_straight_line_and_the_law_meets_it_at_the_end(sites: Growth) -> None:
    figure = growth_figure(sites, ["Site"])
    row = sites["Site"]
    straight = next(t for t in figure.data if t.name == "no change")
    assert list(straight.x) == [0, row["exposure_years"]]
    assert list(straight.y) == [0, row["failures"]]
    law = next(t for t in figure.data if t.name == "power law")
    assert law.y[-1] == pytest.approx(row["failures"])
    share = np.array(law.x) / row["exposure_years"]
    np.testing.assert_allclose(law.y, row["failures"] * share ** row["shape"], atol=0.01)
    band = next(t for t in figure.data if t.name == "power law interval")
    assert max(v for v in band.y if v is not None) == pytest.approx(row["failures"], rel=1e-4)


def test_names_counts_and_verdicts_stand_above(sites: Growth) -> None:
    figure = growth_figure(sites, ["Site", "Other"])
    texts = [a.text for a in figure.layout.annotations]
    for name in ("Site", "Other"):
        row = sites[name]
        assert f"<b>{name}</b>  {row['failures']} failures: {row['verdict']}" in texts


def test_years_stand_along_the_top_where_exposure_had_come_to(sites: Growth) -> None:
    figure = growth_figure(sites, ["Other"])
    years = {a.text: a.x for a in figure.layout.annotations if a.text.isdigit()}
    begins = pd.Series(pd.to_datetime([f"{year}-01-01" for year in years]))
    assert len(years) >= 4
    assert list(years.values()) == pytest.approx(
        sites.exposure_at("Other", begins).tolist(), abs=1e-3
    )


def test_a_change_is_a_strip_and_a_line_and_only_where_it_stands_out(sites: Growth) -> None:
    plain = growth_figure(sites, ["Site"])
    assert not any(s.type == "rect" for s in plain.layout.shapes)
    table = sites.table.copy()
    mine = table["group"] == "Site"
    table.loc[mine, "changed"] = True
    for name, day in (("change", "2020-05-01"), ("change_low", "2019-01-01")):
        table.loc[mine, name] = pd.Timestamp(day)
    table.loc[mine, "change_high"] = pd.Timestamp("2022-03-01")
    told = growth_figure(replace(sites, table=table), ["Site"])
    strip = next(s for s in told.layout.shapes if s.type == "rect")
    days = pd.Series(pd.to_datetime(["2019-01-01", "2022-03-01"]))
    assert [strip.x0, strip.x1] == pytest.approx(sites.exposure_at("Site", days).tolist())
    assert any(a.text == "May 2020<br>(Jan 2019 to Mar 2022)" for a in told.layout.annotations)


def test_no_failure_is_said() -> None:
    figure = growth_figure(growth(no_failures()), ["all"])
    assert any(a.text == "no failure" for a in figure.layout.annotations)
    assert list(figure.data[-1].y) == [0, 0]


def test_names_from_records_are_text() -> None:
    got = growth(hostile(), by=("service_class",))
    figure = growth_figure(got, got.table["group"].tolist())
    assert not any("<img" in a.text or "<script" in a.text for a in figure.layout.annotations)


@pytest.mark.parametrize("names", [[], ["Site"] * 13])
def test_none_or_too_many_are_refused(sites: Growth, names: list[str]) -> None:
    with pytest.raises(InputError, match="groups"):
        growth_figure(sites, names)


def test_a_strange_name_is_refused(sites: Growth) -> None:
    with pytest.raises(InputError, match="no group"):
        growth_figure(sites, ["Nowhere"])

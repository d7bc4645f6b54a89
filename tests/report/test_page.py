"""The report page of a real rehearsal: self-contained, escaped, the same twice."""

import base64
import gzip
import hashlib
import html
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simkit.parameters.fitted import FitRecord
from simkit.parameters.load import Loaded
from simkit.report.downsample import minmax, window
from simkit.report.html import draw, leading, page, to_do
from simkit.report.schematic import schematic
from simkit.report.text import by_ratio, typeset
from simkit.report.view import Record, ReportView, Trace
from simkit.result.document import FitUncertainty, Result
from simkit.studies.operating_map.study import operating_view
from simkit.studies.scenario.result import dumped, probes, save_waveforms, write_folder
from simkit.studies.scenario.view import report_view
from tests.machines import demo


def test_page_asks_nothing_of_the_network_and_stays_small(view: ReportView) -> None:
    text = page(view, draw(view))
    assert not re.search(r"""(src|href)\s*=\s*["']?[^"'#\s]""", text)
    assert "http" not in re.sub(r"http-equiv", "", text)
    assert "@import" not in text
    assert "url(" not in re.sub(r"url\(#", "", text)
    assert len(text.encode()) < 2_000_000


def test_policy_allows_the_one_script_there_is(view: ReportView) -> None:
    text = page(view, draw(view))
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
    assert policy is not None
    assert "default-src 'none'" in html.unescape(policy[1])
    (script,) = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in html.unescape(policy[1])


def test_names_are_escaped(view: ReportView) -> None:
    attack = "</script><script>x</script><img src=x onerror=alert(1)>"
    row = replace(view.limits[0], part=attack, source=attack)
    spans = tuple(replace(s, name=attack) for s in view.views)
    hostile = replace(
        view, title=attack, reason=attack, limits=(row, *view.limits[1:]), views=spans,
        events=tuple(replace(e, name=attack) for e in view.events), command=attack, netlist=attack,
    )  # fmt: skip
    plain, text = page(view, draw(view)), page(hostile, draw(hostile))
    assert "<img" not in text
    assert text.count("<script") == plain.count("<script")
    assert text.count("</script") == plain.count("</script")
    assert "&lt;img" in text


def test_page_never_calls_anything_by_the_word_it_must_not_use(view: ReportView) -> None:
    assert not re.search(r"\bsafe(ly|ty)?\b", page(view, draw(view)), re.IGNORECASE)


@pytest.mark.slow
def test_figures_have_no_date_and_are_the_same_twice(view: ReportView) -> None:
    once, twice = draw(view), draw(view)
    assert once == twice
    assert {"timeline", "circuit", "worst", "healthy", "waveforms"} <= set(once)
    for svg in once.values():
        assert "<dc:date>" not in svg


def test_page_without_figures_and_values_says_so(view: ReportView) -> None:
    rows = tuple(
        replace(r, value=None, error=None, ratio=None, time=None, status="not_evaluated")
        for r in view.limits
    )
    bare = replace(view, limits=rows, worst=None, healthy=None, windows=(), events=(), modes=(),
                   outcome="no_verdict", word="no verdict", reason="Not evaluated.")  # fmt: skip
    text = page(bare, draw(bare))
    assert text.count("not evaluated</span>") == len(rows)
    assert "No commutation was seen." in text
    assert "None" not in re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL)
    assert not re.search(r"\bnan\b", text)


@pytest.mark.slow
def test_page_of_a_healthy_machine_names_its_smallest_margin(view: ReportView) -> None:
    rows = tuple(replace(r, status="ok", ratio=0.5, value=0.5 * r.limit) for r in view.limits)
    text = page(replace(view, outcome="within_limits", limits=rows), draw(view))
    assert "Smallest margins" in text
    assert "50 % below the limit" in text
    assert "What would give more room" in text


TOPOLOGIES: dict[str, dict[str, dict[str, Any]]] = {
    "full, loop": {},
    "half-split, shunt": {
        "bridge": {"topology": "half-split", "split_capacitance": 2.2e-6, "split_esr": 0.01,
                   "snubber": {"place": "switch", "resistance": 10.0, "capacitance": 1e-9}},
        "tank": {"feed": "shunt", "matching": {"inductance": 1.5e-6, "resistance": 1e-3}},
    },
    "half-blocking, loop": {
        "bridge": {"topology": "half-blocking",
                   "snubber": {"place": "leg", "resistance": 10.0, "capacitance": 1e-9}},
    },
}  # fmt: skip
DRAWN = {
    "full, loop": ({"Q4", "22 : 1", "a", "b"}, {"matching", "10 Ω"}),
    "half-split, shunt": ({"Q2", "2.2 µF", "matching", "10 Ω"}, {"Q3"}),
    "half-blocking, loop": ({"Q2", "1 nF", "10 µF"}, {"Q3", "b", "2.2 µF", "matching"}),
}
"""Texts that must and must not stand in the diagram of each."""


@pytest.mark.parametrize("name", TOPOLOGIES)
def test_circuit_shows_what_the_machine_has_and_no_more(view: ReportView, name: str) -> None:
    values = view.machine.model_dump()
    for table, changes in TOPOLOGIES[name].items():
        values[table] |= changes
    svg = schematic(type(view.machine).model_validate(values))
    texts = set(re.findall(r"<text[^>]*>([^<]*)</text>", svg))
    wanted, unwanted = DRAWN[name]
    assert wanted <= texts
    assert not unwanted & texts


def test_bars_and_advice_follow_the_ratio(view: ReportView) -> None:
    ratios = [r.ratio or 0.0 for r in by_ratio(view.limits) if r.status == "over"]
    assert ratios == sorted(ratios, reverse=True)
    advised = [row for _, rows in to_do(view) for row in rows]
    pressing = {r.quantity for r in view.limits if r.status in ("over", "near")}
    assert {r.quantity for r in advised} == pressing


@pytest.mark.slow
def test_same_rehearsal_same_page(view: ReportView) -> None:
    assert page(view, draw(view)) == page(view, draw(view))


def test_verdict_comes_first_and_worst_limit_leads_the_table(view: ReportView) -> None:
    text = page(view, draw(view))
    assert text.index('id="verdict"') < text.index('id="todo"') < text.index('id="limits"')
    # What destroys within a cycle leads both the reason and the advice, and the block says at once
    # why it destroys and what to do first.
    lead = leading(view)
    assert lead is not None
    assert lead.title in view.reason.split(";")[0]
    assert to_do(view)[0] == (lead.change, to_do(view)[0][1])
    block = html.unescape(text[text.index('id="verdict"') : text.index('id="todo"')])
    assert lead.why in block
    assert lead.change in block


def test_every_contract_key_is_there(run: tuple[Any, Result, Loaded[Any]]) -> None:
    import jsonschema

    from simkit.result.described import json_schema

    result = json.loads(dumped(run[1].as_json()))
    jsonschema.validate(result, json_schema())
    assert result["schema"] == "simkit.result/1"
    assert {"frequency_hz", "phase_deg", "turn_off_current_a", "loaded_q"} <= set(
        result["operating_point"]["before"]
    )
    assert abs(result["numerics"]["energy_residual"]) <= 0.01


def test_drop_in_goes_from_inductive_to_capacitive(
    run: tuple[Any, Result, Loaded[Any]],
) -> None:
    result = run[1]
    assert result.mode[0].mode == "inductive"
    assert result.mode[-1].mode == "capacitive"
    assert result.verdict == "over_limit"
    assert result.recovery is not None
    assert result.recovery.peak_current_a > 5.0


@pytest.mark.slow
def test_folder_appears_whole_and_a_failure_leaves_the_old_one(
    run: tuple[Any, Result, Loaded[Any]], view: ReportView, tmp_path: Path
) -> None:
    found, result, _ = run

    def report(fresh: Path) -> None:
        from simkit.report.html import write_report

        write_report(fresh, view)

    folder = write_folder(tmp_path / "out", found, result, report)
    names = {p.name for p in folder.iterdir()}
    assert names == {"index.html", "result.json", "waveforms.npz", "figures", "deck.cir",
                     "engine.log", "provenance.json"}  # fmt: skip
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}

    def broken(_fresh: Path) -> None:
        raise OSError("disk full")

    with pytest.raises(OSError, match="disk full"):
        write_folder(tmp_path / "out", found, result, broken)
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 400), st.integers(2, 3000), st.integers(0, 2**32 - 1))
def test_overview_keeps_every_extreme(bins: int, count: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    time = np.sort(rng.random(count))
    time[0], time[-1] = 0.0, 1.0
    values = rng.normal(size=count)
    values[rng.integers(count)] = 50.0
    low, high = minmax(time, values, bins)
    assert high.max() == values.max()
    assert low.min() == values.min()


def test_overview_says_where_nothing_is_known() -> None:
    time = np.concatenate([np.linspace(0.0, 1e-5, 1001), np.linspace(9e-5, 1e-4, 1001)])
    low, high = minmax(time, np.sin(1e6 * time), 100, gap=1e-6)
    assert np.isnan(low[20:80]).all()
    assert np.isfinite(low[:10]).all()
    assert np.isfinite(high[-10:]).all()


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 3000), st.integers(0, 2**32 - 1))
def test_packed_window_gives_its_values_back(count: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    time = 1e-3 + np.cumsum(rng.uniform(1e-9, 2e-8, count))
    values = rng.normal(size=count) * 300.0
    item = window(Record("x", time, (Trace("x", 0, values),)))
    raw = gzip.decompress(base64.b64decode(item.data))
    axis = np.cumsum(np.frombuffer(raw[: 4 * count], "<u4"), dtype=np.uint32)
    steps = np.cumsum(np.frombuffer(raw[4 * count :], "<u2"), dtype=np.uint16)
    base, step = item.scales[0]
    # A tick of the stored axis is a picosecond, a value at most half a step off.
    assert np.abs(item.start + axis * 1e-12 - time).max() < 1e-12
    assert np.abs(base + steps * step - values).max() <= 0.51 * step


def test_page_of_an_earlier_failure_goes_and_nothing_else_does(tmp_path: Path) -> None:
    from simkit.studies.scenario.study import forget_failure

    told = tmp_path / "run-no-verdict"
    for text, gone in (
        ('{"schema": "simkit.result/1", "verdict": "no_verdict"}', True),
        ('{"schema": "simkit.result/1", "verdict": "over_limit"}', False),
        ('{"mine": 1}', False),
        ("[", False),
    ):
        told.mkdir(exist_ok=True)
        (told / "result.json").write_text(text)
        forget_failure(tmp_path / "run")
        assert told.exists() != gone


def test_no_figure_is_left_open() -> None:
    from matplotlib import pyplot

    from simkit.report.schematic import schematic
    from tests.machines import demo

    before = pyplot.get_fignums()
    schematic(demo())
    assert pyplot.get_fignums() == before


@pytest.mark.slow
def test_the_operating_map_stands_where_the_drive_is_tuned(view: ReportView) -> None:
    assert view.operating is None, "the piece moves, the drive does not"
    assert 'id="operating"' not in page(view, draw(view))
    machine = demo()
    shown = operating_view(machine, machine.load("cold-steel-weak-field"), 73e3, 97e3, 100.0)
    tuned = replace(view, operating=shown)
    text = page(tuned, draw(tuned))
    assert 'id="operating"' in text
    assert "From the fast model, no verdict rests on it" in text
    assert "the 100 V supply" in text
    assert text.count("<small>working band</small>") >= 1
    assert "bridge current, peak" in text


@pytest.mark.parametrize(
    ("plain", "printed"),
    [
        ("3 us at 5% of it", "3 \u00b5s at 5\u00a0% of it"),
        ("the same are used", "the same are used"),
        ("drive.dead_time, us", "drive.dead_time, \u00b5s"),
        ("-2 uohm, 41 deg", "\u22122 \u00b5\u03a9, 41\u00b0"),
        ("40.1 ms +/- 900 us", "40.1 ms \u00b1 900 \u00b5s"),
        ("670 uT and 250 V/us", "670 \u00b5T and 250 V/\u00b5s"),
    ],
)
def test_units_are_set_in_print_and_words_are_left(plain: str, printed: str) -> None:
    assert typeset(plain) == printed


@pytest.mark.slow
def test_what_a_fit_found_stands_with_interval_and_readings(
    run: tuple[Any, Result, Loaded[Any]],
) -> None:
    rehearsal, result, machine = run
    origin = replace(machine.origins["coil.inductance"], source="fitted", tolerance=0.02,
                     note="was 880 nH (measured); readings.toml")  # fmt: skip
    record = FitRecord(parameters=("coil.inductance",), deviation=(0.01,), correlation=((1.0,),))
    fitted = replace(
        machine,
        model=machine.model.model_copy(update={"fit": record}),
        origins={**machine.origins, "coil.inductance": origin},
    )
    rows = tuple(
        replace(row, interval=(0.9 * (row.value or 0.0), 1.1 * (row.value or 0.0)),
                probability_over=0.25)
        for row in result.limits
    )  # fmt: skip
    said = FitUncertainty("one more rehearsal", 1)
    shown = report_view(rehearsal, replace(result, limits=rows, parameter_uncertainty=said), fitted)
    text = page(shown, draw(shown))
    # 900 nH, a deviation of 1 % of the logarithm, two either way: times exp(-0.02), exp(0.02).
    assert "882.2 nH to 918.2 nH" in text
    assert "was 880 nH (measured); readings.toml" in text
    assert "one more rehearsal" in text
    assert text.count("over: 25 %") == len(rows)
    plain = page(report_view(*run), draw(report_view(*run)))
    assert "Fitted to readings" not in plain
    assert "Beneath each value" not in plain


def test_saved_waveforms_are_read_back_by_numpy_alone(
    run: tuple[Any, Result, Loaded[Any]], tmp_path: Path
) -> None:
    rehearsal = run[0]
    save_waveforms(tmp_path, rehearsal, csv=True)
    with np.load(tmp_path / "waveforms.npz", allow_pickle=False) as kept:
        columns = {name: kept[name] for name in kept.files}
    ran = probes(rehearsal.whole.waves)
    assert {f"first:{name}" for name in ran} <= set(columns)
    for name, values in ran.items():
        # Seven digits of a 32-bit number: its half-spacing is 6e-8 of the value.
        assert np.allclose(columns[f"first:{name}"], values, rtol=1e-7, atol=1e-30)
    table = np.genfromtxt(tmp_path / "waveforms.csv", delimiter=",", names=True)
    assert len(table) == len(ran["time_s"])
    assert np.allclose(table["time_s"], ran["time_s"], rtol=1e-8, atol=1e-15)

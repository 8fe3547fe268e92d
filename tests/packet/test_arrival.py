"""Arrival: results against limits, and what holes and bends came out at becomes the shop's own figure."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import statistics
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from parts import gauge_order
from parts.command import lintsvc

from lintsvc.packet.arrival import (
    Arrival,
    Result,
    ResultsError,
    judge,
    read_results,
)
from lintsvc.packet.inspection import Size, sizes_of, tool_for
from lintsvc.packet.shop_file import CountedBefore, with_arrival
from lintsvc.packet.write import results_table
from lintsvc.rulebook.measured import Measured
from lintsvc.rulebook.shop import Arrived, parse_shop


@pytest.fixture(scope="module")
def order(tmp_path_factory):
    return gauge_order.checked(gauge_order.write_order(tmp_path_factory.mktemp("order")))


@pytest.fixture(scope="module")
def sizes(order) -> dict[str, tuple[Size, ...]]:
    checked, drawn = order
    return {x.id: sizes_of(checked, x, drawn[x.id]) for x in checked.parts}


def filled(order, values) -> str:
    """The table as it is handed out, its results filled in by `values(row)`."""
    rows = list(csv.DictReader(io.StringIO(results_table(*order).decode("utf-8-sig"))))
    out = io.StringIO()
    table = csv.DictWriter(out, rows[0].keys())
    table.writeheader()
    for row in rows:
        table.writerow({**row, "measured": values(row)})
    return out.getvalue()


def as_meant(row) -> str:
    return str(row["meant"])


def judged(order, sizes, text: str) -> Arrival:
    return judge(order[0].parts, sizes, read_results(text, sizes))


def test_each_size_lies_between_its_limits_as_it_was_meant(sizes) -> None:
    for part in sizes.values():
        assert len({x.id for x in part}) == len(part)
        for size in part:
            assert size.lower <= size.nominal <= size.upper


def test_a_side_that_no_bend_changes_is_held_to_what_cutting_holds(sizes) -> None:
    long, wide, high = (x for x in sizes["bracket"] if x.kind == "folded")
    assert (wide.nominal, wide.lower, wide.upper) == pytest.approx((60.0, 59.9, 60.1))
    assert long.upper - long.nominal > 1.0
    assert high.upper - high.nominal > 1.0


def test_parts_as_meant_are_accepted_and_teach_that_nothing_is_off(order, sizes) -> None:
    arrival = judged(order, sizes, filled(order, as_meant))
    assert {x.verdict for x in arrival.pieces} == {"accept"}
    assert len(arrival.pieces) == 3 + 2 + 1
    assert all(x.offset == pytest.approx(0.0, abs=6e-4) for x in arrival.learnt)
    assert {(x.supplier, x.parts, x.bad) for x in arrival.counts} == {("laser", 3, 0), ("powder", 2, 0), (None, 1, 0)}


def test_small_hole_is_opened_and_a_wide_one_is_lost(order, sizes) -> None:
    def off(row) -> str:
        if row["part"] == "bracket" and row["size"] == "D1":
            return {"1": "6.45", "2": "6.75", "3": "6.6"}[row["piece"]]
        return as_meant(row)

    arrival = judged(order, sizes, filled(order, off))
    verdict = {x.piece: x.verdict for x in arrival.pieces if x.part == "bracket"}
    assert verdict == {"1": "rework", "2": "reject", "3": "accept"}
    first = next(y for x in arrival.pieces for y in x.sizes if y.verdict == "rework")
    assert "6.45 mm, limits 6.5 to 6.7 mm: open it with a drill or reamer" in first.text
    bad = next(x for x in arrival.counts if x.supplier == "laser")
    assert (bad.parts, bad.bad) == (3, 1)


def test_thread_that_does_not_take_its_screw_is_tapped_again(order, sizes) -> None:
    arrival = judged(order, sizes, filled(order, lambda row: "no" if row["size"] == "At" else as_meant(row)))
    pieces = [x for x in arrival.pieces if x.part == "bracket"]
    assert {x.verdict for x in pieces} == {"rework"}


def test_holes_small_and_bends_open_are_learnt(order, sizes) -> None:
    def off(row) -> str:
        if row["unit"] == "deg":
            return f"{float(row['meant']) - 0.5:.1f}"
        if row["part"] == "lid" and row["size"][0] in "AC" and row["size"][1:].isdigit():
            return f"{float(row['meant']) - 0.15:.2f}"
        return as_meant(row)

    arrival = judged(order, sizes, filled(order, off))
    learnt = {(x.what, x.supplier): x for x in arrival.learnt}
    assert learnt["hole", "powder"].offset == pytest.approx(-0.15, abs=1e-3)
    assert learnt["hole", "powder"].parts == 2
    assert learnt["bend", "laser"].offset == pytest.approx(-0.5)
    assert learnt["bend", "laser"].sizes == 6
    assert learnt["hole", "laser"].offset == pytest.approx(0.0, abs=1e-3)


def test_finish_is_no_fault_of_the_cut(order, sizes) -> None:
    checked, _ = order
    first, *rest = checked.parts
    painted = replace(first, entry=first.entry.model_copy(update={"finish": "paint"}))
    results = read_results(filled(order, as_meant), sizes)
    arrival = judge([painted, *rest], sizes, results)
    assert {x.what for x in arrival.learnt if x.supplier == "laser"} == {"bend"}
    assert any("its paint changes sizes" in x for x in arrival.left_out)


@pytest.mark.parametrize(
    ("size", "typed", "asked"),
    [
        ("D1", "66", "was 6.6 meant, and the point or comma stands in the wrong place?"),
        ("D1", "0.26", "was 6.604 meant, and inches were typed for millimetres"),
        ("D1", "6.6 in", "was 6.6 meant, and millimetres were typed for inches"),
        ("D1", "5.5", "it is -1.1 off; is it this size, of this part?"),
        ("B1", "900", "was 90 meant, and the point or comma"),
    ],
)
def test_a_slip_of_the_pen_is_asked_about_and_teaches_nothing(order, sizes, size, typed, asked) -> None:
    def slip(mark: str):
        return lambda row: (
            typed + mark if (row["part"], row["piece"], row["size"]) == ("bracket", "1", size) else as_meant(row)
        )

    arrival = judged(order, sizes, filled(order, slip("")))
    piece = next(x for x in arrival.pieces if x.part == "bracket")
    assert piece.verdict == "ask"
    (found,) = (x for x in piece.sizes if x.verdict != "accept")
    assert asked in found.text
    for each in arrival.learnt:
        assert abs(each.offset) < 0.01
    # What becomes of it is not known, so it is no good one and no bad one.
    assert next(x for x in arrival.counts if x.supplier == "laser").parts == 2
    assert any(f"{size}: " in x and "too far off" in x for x in arrival.left_out)
    # Measured again and so: judged, and still nothing to learn from.
    sure = judged(order, sizes, filled(order, slip("!")))
    again = next(x for x in sure.pieces if x.part == "bracket")
    assert again.verdict != "ask"
    assert again.verdict != "accept"
    assert all(abs(x.offset) < 0.01 for x in sure.learnt)


def test_values_just_this_side_of_a_slip_are_judged(sizes, order) -> None:
    # Limits 0.2 mm wide: five widths are 1 mm.
    size = next(x for x in sizes["bracket"] if x.id == "D1")
    for off, verdict in ((0.98, "reject"), (1.02, "ask")):
        text = f"part,piece,size,measured\nbracket,1,D1,{size.nominal + off * (size.upper - size.lower) / 0.2:.3f}\n"
        (piece,) = judged(order, sizes, text).pieces
        assert piece.verdict == verdict


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("part,piece,size,measured\nbracket,1,D1,6.61\n", 6.61),
        ("part;piece;size;measured\nbracket;1;D1;6,61\n", 6.61),
        ("\ufeffPart\tPiece\tSize\tMeasured\r\nbracket\t1\tD1\t6.61 mm\r\n", 6.61),
        ("measured,what,size,piece,part\n0.26 in,hole,D1,1,bracket\n", 6.604),
        ("part,piece,size,measured\nbracket,1,B1,89.5°\n", 89.5),
        ("part,piece,size,measured\nbracket,1,At,Yes\n", 1.0),
    ],
)
def test_tables_of_usual_spreadsheets_are_read(sizes, text, value) -> None:
    (result,) = read_results(text, sizes)
    assert result.value == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("part,piece,measured\n", "line 1: the column 'size' is missing"),
        ("part,piece,size,measured\nbrackett,1,D1,6\n", "line 2: there is no part 'brackett'; there are bracket"),
        ("part,piece,size,measured\nbracket,1,D9,6\n", "line 2: bracket has no size 'D9'; it has At"),
        ("part,piece,size,measured\nbracket,1,D1,six\n", "line 2: 'six' is no length; write it like 6.62"),
        ("part,piece,size,measured\nbracket,1,B1,3 mm\n", "line 2: '3 mm' is no angle"),
        ("part,piece,size,measured\nbracket,1,At,6\n", "line 2: '6' is neither yes nor no"),
        ("part,piece,size,measured\nbracket,,D1,6\n", "line 2: the piece has no number"),
        ("part,piece,size,measured\nbracket,1,D1,6\nbracket,1,D1,6\n", "line 3: D1 of bracket, piece 1, stands here"),
        ("part,piece,size,measured\nbracket,1,D1,1e9\n", "line 2: '1e9' is no length"),
        ("", "columns are part, piece, size, measured"),
    ],
)
def test_wrong_row_is_named_by_its_line(sizes, text, said) -> None:
    with pytest.raises(ResultsError) as error:
        read_results(text, sizes)
    assert said in str(error.value) or "holds 0 rows" in str(error.value)


@given(st.text(max_size=300))
def test_any_text_is_results_or_an_error(text) -> None:
    size = Size("D1", "hole", "hole", 6.6, 6.5, 6.7, "caliper", "")
    try:
        assert all(isinstance(x, Result) for x in read_results(text, {"bracket": [size]}))
    except ResultsError as error:
        assert str(error).startswith("results.csv")


def test_tool_is_good_enough_for_the_limits() -> None:
    # A quarter of the width: ±0.02 leaves 0.01.
    assert tool_for("length", 9.98, 10.02) == "micrometer"
    assert tool_for("hole", 5.98, 6.02) == "plug gauges"
    assert tool_for("bend", 89.8, 90.2) == "bevel protractor"
    assert tool_for("length", 98.0, 102.0) == "steel rule"


def learnt(offs: list[float], parts: int = 1) -> Arrival:
    spread = statistics.stdev(offs) if len(offs) > 1 else 0.0
    figure = Measured("hole", "powder-bed", "pa12", None, statistics.fmean(offs), spread, len(offs), parts)
    return Arrival((), (figure,), (Arrived("powder-bed", "pa12", None, parts, 0),), ())


samples = st.lists(st.floats(-1, 1), min_size=1, max_size=20)


@given(st.lists(samples, min_size=1, max_size=5))
def test_figures_of_many_parcels_are_those_of_all_sizes_together(parcels) -> None:
    """Outside check: Python's own statistics of all sizes at once."""
    text = ""
    for number, offs in enumerate(parcels):
        text = with_arrival(text, learnt(offs), f"{number}.csv", f"{number:064x}")
    every = [x for offs in parcels for x in offs]
    (figure,) = parse_shop(text).measured
    assert figure.offset == pytest.approx(statistics.fmean(every), abs=1e-5)
    assert figure.sizes == len(every)
    assert figure.parts == len(parcels)
    if len(every) > 1:
        assert figure.spread == pytest.approx(statistics.stdev(every), abs=1e-4)


def test_table_counted_before_is_not_counted_again() -> None:
    text = with_arrival("", learnt([-0.1, -0.2]), "a.csv", "ab" * 32)
    with pytest.raises(CountedBefore, match=r"a\.csv was counted before \(shop\.toml, line \d+\)"):
        with_arrival(text, learnt([-0.1, -0.2]), "a.csv", "ab" * 32)


def test_limits_comments_and_other_rows_stay_as_they_are() -> None:
    limits = '# ours\n[limits]\n"powder-bed/thin-wall" = "0.9mm"  # their word\n'
    before = f'{limits}\n[[measured]]\nwhat = "bend"\noffset = 0.5\n'
    after = with_arrival(before, learnt([-0.1]), "a.csv", "ab" * 32)
    assert after.startswith(limits)
    shop = parse_shop(after)
    assert {(x.what, x.offset) for x in shop.measured} == {("bend", 0.5), ("hole", -0.1)}
    assert len(shop.limits.limits) == 1


def test_command_hands_out_sheets_judges_and_the_next_check_names_the_shop(tmp_path) -> None:
    path = gauge_order.write_order(tmp_path, about='shop = "shop.toml"')
    first = lintsvc("order", path, cwd=tmp_path)
    assert "shop.toml is not there yet" in first.stdout
    done = lintsvc("arrive", path, "--sheets", tmp_path / "sheets", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "sheets" / "inspection.pdf").read_bytes().startswith(b"%PDF")
    table = (tmp_path / "sheets" / "results.csv").read_text("utf-8-sig")
    rows = list(csv.reader(io.StringIO(table)))
    for row in rows[1:]:
        # Every hole of the printed lid comes out 0.15 small.
        row[3] = (
            f"{float(row[4]) - 0.15:.2f}" if row[0] == "lid" and row[2][1:].isdigit() and row[2][0] in "AC" else row[4]
        )
    results = tmp_path / "results.csv"
    with results.open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows(rows)
    done = lintsvc("arrive", path, results, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "ACCEPT  lid, piece 1" in done.stdout
    text = (tmp_path / "shop.toml").read_text("utf-8")
    assert hashlib.sha256(results.read_bytes()).hexdigest() in text
    again = lintsvc("arrive", path, results, "--format", "json", cwd=tmp_path)
    assert "was counted before" in json.loads(again.stdout)["learnt"][0]
    assert (tmp_path / "shop.toml").read_text("utf-8") == text
    # The next check of the order takes the shop's holes, and says where they come from.
    checked = lintsvc("order", path, "--format", "json", cwd=tmp_path)
    assert "came out 0.15 mm small" in checked.stdout
    assert "measured on 2 parts" in checked.stdout


def test_command_says_which_row_is_wrong(tmp_path) -> None:
    path = gauge_order.write_order(tmp_path)
    (tmp_path / "r.csv").write_text("part,piece,size,measured\nbracket,1,ZZ,3\n", "utf-8")
    done = lintsvc("arrive", path, "r.csv", cwd=tmp_path)
    assert done.returncode == 2
    assert "r.csv, line 2: bracket has no size 'ZZ'" in done.stderr
    assert lintsvc("arrive", path, cwd=tmp_path).returncode == 2

"""The order's page of the packet: dates, spares, prices, loads, and what was not checked."""

from __future__ import annotations

import re

from parts import gauge_order
from parts.packet_texts import html_text, pdf_text

from lintsvc.packet.write import packet_files


def test_order_page_has_calendar_spares_and_prices_with_their_sources(files) -> None:
    text = pdf_text(files["order.pdf"])
    for words in (
        "All there on Mon 2026-03-16. Needed by Fri 2026-03-27.",
        "In time if it is ordered by",
        "bracket 31.50 25.00 3 119.50 The quote for 1, as entered in the order.",
        "no price is known for lid, gasket",
        "Each is bad with a chance of 3 % (As entered in the order for laser)",
        "No supplier is named for gasket: taken to be at hand, or made here.",
        "lid, gasket: nobody says how often such a part is bad",
        "licensed practice",
    ):
        assert words in text, words


def test_order_page_has_loads_and_what_was_assumed(order) -> None:
    from lintsvc.model.choices import Assumed
    from lintsvc.model.report import OrderReport, StiffnessShown

    rows = (
        StiffnessShown("bracket", "aluminium-5052-h32", 2.5, 0.177, 33.4, 160.0, 47.6, "3152 finite elements"),
        StiffnessShown("bracket", "steel-mild", 2.5, 0.062, 33.4, None, None, "the ratio of stiffness", chosen=False),
    )
    assumed = (Assumed("head", "M4: 7 × 4 mm", "recalled"),)
    about = ("order.toml", "0" * 64, None, None, None, None)
    entry = OrderReport(*about, stiffness=rows, assumed=assumed, notes=("lid is not placed: why",))
    checked, drawn = order
    text = html_text(packet_files(checked, drawn, entry=entry)["order.html"])
    for words in (
        "bracket aluminium-5052-h32, 2.5 mm as ordered 0.177 mm 33.4 MPa 160 MPa 47.6 g 3152 finite elements",
        "bracket steel-mild, 2.5 mm to compare 0.062 mm 33.4 MPa not known not known the ratio of stiffness",
        "head M4: 7 × 4 mm: recalled",
        "Noticed: lid is not placed: why",
    ):
        assert words in text, words


def test_spares_are_told_with_what_a_second_order_costs_and_takes(files) -> None:
    text = html_text(files["order.html"])
    # 31.50 each, 25 for the setup and 14 for the parcel; 6 and 2 working days.
    assert "A second order of one costs 70.50 EUR and takes 8 working days." in text
    # 2 needed, 3 % bad: 1 - 0.97^2 = 5.91 % for a second order; 0.0591 · 70.5 and 0.0591 · 8.
    assert "0 94.1 % 5.9 % 0.00 4.17 4.17 0.47" in text
    assert "lid, gasket: nobody says how often such a part is bad" in text


def test_what_was_not_checked_of_the_order_is_one_plain_sentence_a_reason(tmp_path) -> None:
    from lintsvc.order.check import check_order
    from lintsvc.rulebook.packs import built_in_folder, load_pack

    path = gauge_order.write_order(tmp_path, more='[[supplier]]\nid = "painter"\n')
    text = path.read_text("utf-8").replace('supplier = "powder"\n', 'supplier = "powder"\nthen = ["painter"]\n', 1)
    alone = re.sub(r"\[\[relation\]\].*?(?=\[\[supplier)", "", text, flags=re.DOTALL)
    path.write_text(alone, "utf-8")
    order, _ = gauge_order.checked(path)
    rules = {x.id: x for pack in ("fit", "order") for x in load_pack(built_in_folder() / pack).rules}
    missed = check_order(order, [rules[x] for x in ("order/late", "fit/parts-clash")]).not_checked
    assert [x.why for x in missed] == [
        "nobody says how many days painter takes (lead_days)",
        "bracket, lid, gasket are not placed: no relation and no [[place]] says where it stands",
    ]


def test_late_order_names_all_that_everything_waits_for(tmp_path) -> None:
    from lintsvc.order.check import check_order
    from lintsvc.rulebook.packs import built_in_folder, load_pack

    path = gauge_order.write_order(tmp_path)
    text = path.read_text("utf-8").replace('material = "rubber"\n', 'material = "rubber"\nsupplier = "powder"\n')
    (late,) = [x for x in load_pack(built_in_folder() / "order").rules if x.id == "order/late"]

    def found(need_by: str):
        path.write_text(text.replace("2026-03-27", need_by), "utf-8")
        return check_order(gauge_order.checked(path)[0], [late]).findings

    assert found("2026-03-16") == ()
    (finding,) = found("2026-03-15")
    assert (
        "earliest, 1 day after 2026-03-15. Everything waits for lid and gasket, then put together." in finding.message
    )
    assert finding.parts == ("lid", "gasket")

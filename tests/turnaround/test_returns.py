"""Why pairs come back: what is counted, of what, and which pairs stand behind each bar and point."""

import re
from collections.abc import Callable
from html import unescape

import pytest
from fastapi.testclient import TestClient

from app.turnaround.queries.coming_back import Seen, clinic_names, seen
from app.turnaround.rules import by_month, returned, reviewed
from app.turnaround.rules.asked import Asked
from app.turnaround.rules.felt import Felt, by_feature
from app.turnaround.rules.returns import KINDS, Follow, Sample, acts, by
from app.turnaround.rules.tabled import FEW, percent
from tests.bench.conftest import SIDE, Lab

At = Callable[..., None]
Client = Callable[[str], TestClient]
WINTER = Asked(202701, 202703, None)
ARCH = [{"side": "L", "zone": "medial_arch", "what": "lowered"}, {"side": "R", "zone": "heel_cup", "what": "heated"}]
MONTHS = [202601 + place for place in range(12)]


def story(lab: Lab, at: At) -> dict[str, str]:
    """Seven pairs of January. What was sent back by mistake or taken back, what holds, and what came of the reviews."""
    at(0)
    made = {name: lab.order(label=name) for name in ("cracked", "twice", "plain", "gone", "away", "bench")}
    eva = {side: SIDE | {"shell": "eva"} for side in "LR"}
    made["quay"] = lab.order(by="quay clinician", clinic="quay", label="quay", prescription=eva)
    for code in made.values():
        lab.walk(code, "press", "quay clinician" if code == made["quay"] else "clinician")
    at(1)
    lab.act(made["cracked"], "send_back", sides="L", to_stage="pour", reason="cracked")
    lab.act(made["twice"], "send_back", sides="LR", to_stage="pour", reason="wrong_sheet")
    lab.act(made["bench"], "send_back", sides="R", to_stage="pour", reason="cracked")
    lab.act(made["plain"], "send_back", sides="L", to_stage="pour", reason="booked_by_mistake")
    lab.act(made["gone"], "send_back", sides="L", to_stage="pour", reason="cracked")
    lab.act(made["gone"], "take_back")
    lab.walk(made["twice"], "trim")
    lab.act(made["twice"], "send_back", sides="R", to_stage="cover", reason="too_short")
    at(2)
    for name in ("cracked", "twice", "plain", "gone", "away"):
        lab.walk(made[name], "wear_in")
    lab.walk(made["quay"], "wear_in", "quay clinician")
    at(17)
    lab.act(made["cracked"], "adjust", by="clinician", sides="LR", facts={"where": "here", "zones": ARCH})
    lab.act(made["twice"], "adjust", by="clinician", sides="L", facts={"where": "lab", "stages": ["cover", "grind"]})
    told = {"comfort": 8, "pain": 1, "pain_relief": 70}
    lab.act(made["plain"], "settle", by="clinician", facts={"review": told})
    lab.act(made["away"], "no_show", by="clinician")
    remake = {"start": "positive", "bears": "lab"}
    lab.act(made["gone"], "remake", by="clinician", sides="L", reason="fit", facts=remake)
    lab.act(made["quay"], "settle", by="quay clinician")
    at(18)
    return made


def looked(lab: Lab, asked: Asked = WINTER) -> Seen:
    with lab.database.reading() as db:
        return seen(db, asked, lab.house.zone)


def test_what_came_back_is_counted_by_reason_stage_shell_and_clinic(lab: Lab, at: At) -> None:
    story(lab, at)
    found = looked(lab).returns
    house, quay = (str(lab.house.clinics[key]) for key in ("house", "quay"))
    assert {act: acts(found.counts, act) for act in (*KINDS, "dispense")} == {
        "send_back": 4,  # neither the one booked by mistake nor the one taken back
        "adjust": 2,
        "remake": 1,
        "dispense": 6,
    }
    assert by(found, "send_back", "reason") == {"cracked": 2, "wrong_sheet": 1, "too_short": 1}
    assert by(found, "send_back", "stage") == {"press": 3, "trim": 1}
    assert by(found, "adjust", "reason") == {"medial_arch.lowered": 1, "heel_cup.heated": 1, "lab": 1}
    assert by(found, "adjust", "stage") == {"here": 1, "grind": 1, "cover": 1}
    assert by(found, "remake", "reason") == {"fit": 1}
    assert by(found, "dispense", "shell") == {"polypropylene": 5, "eva": 1}
    assert by(found, "dispense", "clinic") == {house: 5, quay: 1}
    assert returned.per_hundred(found, "adjust") == pytest.approx(100 * 2 / 6)
    only_quay = looked(lab, Asked(202701, 202703, None, lab.house.clinics["quay"])).returns
    assert {act: acts(only_quay.counts, act) for act in (*KINDS, "dispense")}["dispense"] == 1
    assert by(only_quay, "send_back", "reason") == {}


def test_a_share_is_of_pairs_and_reviews_that_are_known_to_have_come_back_or_not(lab: Lab, at: At) -> None:
    story(lab, at)
    shares = looked(lab).returns.shares
    assert shares["send_back"][-1] == Sample(202701, 2, 6), "each pair once, and none that is still on its way"
    assert shares["adjust"][-1] == Sample(202701, 2, 5), "of the reviews held, the one that led to a remake among them"
    assert 202701 not in [each.month for each in shares["remake"]], "its pairs may still be remade"
    at(84)
    assert looked(lab).returns.shares["remake"][-1] == Sample(202701, 1, 6)


def test_follow_up_says_what_was_kept_is_overdue_and_was_missed(lab: Lab, at: At) -> None:
    story(lab, at)
    follow, house, quay = looked(lab).follow, lab.house.clinics["house"], lab.house.clinics["quay"]
    assert follow[quay] == Follow(due=1, kept=1, overdue=0, lost=0, gone=0, missed=0)
    assert follow[house] == Follow(due=5, kept=4, overdue=1, lost=0, gone=0, missed=1)
    assert looked(lab).kept[-1] == Sample(202701, 5, 6)


def test_every_bar_point_and_figure_leads_to_as_many_entries_as_it_says(lab: Lab, at: At, browser: Client) -> None:
    made = story(lab, at)
    manager, seen_links = browser("manager"), dict[str, str]()
    for name in ("reason", "stage", "shell", "clinic"):
        page = manager.get(f"/turnaround/returns?months=3&by={name}").text
        linked = r'<a class="in-row" href="(/turnaround/returns/pairs[^"]*)">.*?</a></th>\s*<td[^>]*>(.*?)</td>'
        seen_links |= dict(re.findall(linked, page))
        drawn = set(re.findall(r'<a href="(/turnaround/returns/pairs[^"]*)"\s+aria-label', page))
        assert drawn <= set(seen_links)
        assert drawn, "the bars themselves lead there, too"
        figures = r'<a class="figure" href="(/turnaround/returns/pairs[^"]*)">.*?class="value">(\d+)<'
        seen_links |= dict(re.findall(figures, page, re.S))
    assert len(seen_links) > 20
    for href, figure in seen_links.items():
        behind = manager.get(unescape(href))
        assert behind.status_code == 200
        assert len(re.findall(r'class="code" href="/pair/', behind.text)) == int(figure), href
    cracked = manager.get("/turnaround/returns/pairs?months=3&what=send_back&by=reason&key=cracked").text
    assert made["cracked"] in cracked
    assert made["bench"] in cracked
    assert made["gone"] not in cracked
    month = manager.get("/turnaround/returns/pairs?months=3&what=send_back&month=2027-01").text
    assert {name for name, code in made.items() if code in month} == {"cracked", "twice"}


@pytest.mark.parametrize("typed", ["what=eaten", "what=adjust&by=moon&key=1", "month=2027-13", "clinic=999", "from=x"])
def test_an_address_that_means_nothing_says_so(lab: Lab, browser: Client, typed: str) -> None:
    answer = browser("manager").get(f"/turnaround/returns/pairs?{typed}")
    assert answer.status_code == 422
    assert typed.partition("=")[0].split("&")[-1] in answer.text or "none of them" in answer.text


def samples(hits: list[int], size: int) -> list[Sample]:
    return [Sample(month, each, size) for month, each in zip(MONTHS, hits, strict=True)]


def test_a_month_outside_of_its_limits_is_named_and_what_is_too_rare_has_none() -> None:
    kind, usual = KINDS["send_back"], [10, 12, 9, 11, 10, 8, 12, 10, 9, 11, 10]
    spoiled = samples([*usual, 40], 100)
    (said,) = by_month.outside(kind, spoiled)
    # By hand: 152 of 1,200 are 12.7 %; three times the root of .127 * .873 / 100 is 10 %.
    assert "Dec\u00a02026: 40 of 100 pairs dispensed sent back, 40\u00a0%, above the upper limit of 23\u00a0%." in said
    assert [row.cells[-1] for row in by_month.share_table(kind, spoiled).rows] == ["inside"] * 11 + ["outside"]
    rare = samples([0] * 11 + [1], 100)
    assert by_month.share_chart(kind, rare, WINTER) is None
    assert by_month.outside(kind, rare) == [], "one in twelve hundred is no news, however far it stands from the mean"
    assert "1 of 1,200 pairs dispensed sent back, 0.1\u00a0%; the true share lies between <" in by_month.without_limits(
        kind, rare
    )
    (good,) = by_month.outside(reviewed.KEPT, samples([90] * 11 + [60], 100), good_high=True)
    assert "below the lower limit" in good
    assert "ask what was different" in good


def test_what_fewer_than_ten_wearers_told_is_marked_as_too_few() -> None:
    eva, plain = {"L": {"shell": "eva"}}, {"L": {"shell": "polypropylene"}}
    told = [Felt(10 * each, each, 2, 5, eva) for each in range(1, 11)] + [Felt(80, 9, None, None, plain)] * 9
    found = {(each.group, each.feature): each for each in by_feature(told)}
    eva_found = found["Shell", "EVA"]
    assert (eva_found.wearers, eva_found.relief, eva_found.comfort, eva_found.change) == (10, 55.0, 5.5, -3)
    assert eva_found.enough == 0.6
    # 6 of 10 by Wilson's formula, worked out apart.
    assert (eva_found.low, eva_found.high) == pytest.approx((0.3127, 0.8318), abs=1e-4)
    assert (found["Shell", "polypropylene"].relief, found["Shell", "polypropylene"].comfort) == (None, None)
    relief, comfort = (
        next(table.words(row)[1:] for row in table.rows if row.cells[0] == "Shell: polypropylene")
        for table in reviewed.felt_tables(told)
    )
    assert relief == ["9", "9", *[FEW] * 4]
    assert comfort == ["9", "9", FEW, "0", "—"]
    assert reviewed.felt_tables([]) == ()


def test_a_share_that_is_not_none_and_not_all_never_reads_like_it() -> None:
    read = [percent(share).replace("\u00a0", " ") for share in (0, 0.0002, 0.056, 0.5, 0.9977, 0.9999, 1)]
    assert read == ["0 %", "< 0.1 %", "5.6 %", "50 %", "99.8 %", "> 99.9 %", "100 %"]


def test_a_clinic_is_called_by_its_name(lab: Lab) -> None:
    with lab.database.reading() as db:
        assert clinic_names(db)[lab.house.clinics["quay"]] == "Upper Quay"

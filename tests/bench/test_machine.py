"""The machine of the trail, without a database: every act at every stage, every ordered pair of stages, generated."""

from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from app.bench.rules.acts import ACTS, ENDS, RECAPTURE_REASONS, REMAKE_REASONS, SEND_BACK_REASONS
from app.bench.rules.machine import EFFECTS, Asked, Hold, Outcome, State, decide, may, when
from app.bench.rules.stages import STAGES, WAYS, Terms, adjustment_route, new_route, place_of, refurbishment_route
from app.errors import BadInput, MovedOn, NotAllowed, Refusal, Unready
from app.people.rules import Role, Viewer

ALL_ON = frozenset({"prepare", "correct", "grind", "inspect"})
HOUSE = Terms(frozenset(), by_parcel=False, trims_at_clinic=False)
PARCEL_LAB_TRIMS = Terms(ALL_ON, by_parcel=True, trims_at_clinic=False)
PARCEL_CLINIC_TRIMS = Terms(ALL_ON, by_parcel=True, trims_at_clinic=True)
TERMS = {"in the house": HOUSE, "parcel, lab trims": PARCEL_LAB_TRIMS, "parcel, clinic trims": PARCEL_CLINIC_TRIMS}


def person(*roles: str) -> Viewer:
    return Viewer(1, "Ines", frozenset(Role(role) for role in roles), frozenset({1}), "UTC")


ANYONE = person("technician", "clinician", "manager")


def at(stage: str, terms: Terms = HOUSE, way: str = "cast", sides: str = "LR", **more: Any) -> State:
    route = new_route(way, terms)
    if stage not in route:
        route = (stage, *route)
    return State("26-00417-D", dict.fromkeys(sides, stage), sides, route, terms, **more)


def ask(state: State, act: str, **more: Any) -> Asked:
    """The act with everything it needs, so that only the stage decides."""
    row = ACTS[act]
    needs: dict[str, Any] = {}
    if "reason" in row.needs:
        needs["reason"] = next(iter(row.reasons), "in words")
    if "sides" in row.needs:
        needs["sides"] = state.all_sides
    if "one side" in row.needs:
        needs["sides"] = state.all_sides[0]
    if "waiting_on" in row.needs:
        needs["waiting_on"] = "supplier"
    needs["facts"] = {"code": state.code} | {"adjust": {"where": "here"}}.get(act, {})
    if "facts" in row.needs and act != "adjust":
        needs["facts"] = {row.keeps[0]: 1}
    return Asked(act, state.stage, **(needs | more))


def do(state: State, act: str, by: Viewer = ANYONE, **more: Any) -> Outcome:
    return decide(state, ask(state, act, **more), by)


# Routes


@pytest.mark.parametrize(
    ("way", "terms", "route"),
    [
        ("cast", HOUSE, "check_in pour press cover trim dispense wear_in"),
        ("carved", HOUSE, "check_in carve press cover trim dispense wear_in"),
        ("direct", HOUSE, "check_in mill cover trim dispense wear_in"),
        (
            "cast",
            PARCEL_LAB_TRIMS,
            "check_in pour correct press grind cover trim inspect send receive dispense wear_in",
        ),
        (
            "cast",
            PARCEL_CLINIC_TRIMS,
            "check_in pour correct press grind cover inspect send receive trim dispense wear_in",
        ),
        (
            "carved",
            PARCEL_LAB_TRIMS,
            "check_in prepare carve correct press grind cover trim inspect send receive dispense wear_in",
        ),
        ("direct", PARCEL_CLINIC_TRIMS, "check_in prepare mill grind cover inspect send receive trim dispense wear_in"),
    ],
)
def test_a_new_pair_walks_the_route_of_its_way_lab_and_clinic(way: str, terms: Terms, route: str) -> None:
    assert " ".join(new_route(way, terms)) == route


def test_a_second_pair_starts_at_press_while_the_positive_is_kept() -> None:
    assert new_route("cast", HOUSE, "press") == ("press", "cover", "trim", "dispense", "wear_in")


def test_an_adjustment_walks_the_stages_named_for_it_and_comes_back_first_when_it_is_far() -> None:
    assert adjustment_route({"cover", "grind"}, HOUSE) == ("grind", "cover", "dispense", "wear_in")
    assert adjustment_route({"grind"}, PARCEL_LAB_TRIMS) == (
        *("return", "check_in", "grind", "send", "receive", "dispense", "wear_in"),
    )
    assert adjustment_route({"trim"}, PARCEL_CLINIC_TRIMS) == ("trim", "dispense", "wear_in")


def test_a_refurbishment_renews_cover_and_trim_and_ends_with_dispensing() -> None:
    assert refurbishment_route(HOUSE) == ("check_in", "cover", "trim", "dispense")


def test_every_stage_is_on_some_route() -> None:
    routes = [new_route(way, terms) for way in WAYS for terms in TERMS.values()]
    routes += [adjustment_route({"grind"}, PARCEL_LAB_TRIMS)]
    assert {stage for route in routes for stage in route} == set(STAGES)


def test_the_clinic_trims_where_the_pair_is_at_the_clinic() -> None:
    for terms in (PARCEL_LAB_TRIMS, PARCEL_CLINIC_TRIMS):
        route = new_route("cast", terms)
        after = route.index("trim") > route.index("receive")
        assert place_of("trim", route, terms) == ("clinic" if after else "lab")


# Every ordered pair of stages


@pytest.mark.parametrize("terms", TERMS.values(), ids=TERMS)
@pytest.mark.parametrize("way", WAYS)
def test_work_goes_forward_only_and_never_past_dispensing(way: str, terms: Terms) -> None:
    route = new_route(way, terms)
    last = route.index("dispense")
    reached = set()
    for here, there in product(STAGES, STAGES):
        if here not in route[:last]:
            continue
        forward = there in route and route.index(here) < route.index(there) <= last
        try:
            outcome = do(at(here, terms, way), "advance", to_stage=there)
        except Refusal:
            assert not forward, f"{here} to {there} was refused"
            continue
        assert forward, f"{here} to {there} was let through"
        assert set(outcome.state.sides.values()) == {there}
        assert outcome.together is (route.index(there) > route.index(here) + 1)
        reached.add((here, there))
    assert len(reached) == last * (last + 1) // 2


@pytest.mark.parametrize("terms", TERMS.values(), ids=TERMS)
@pytest.mark.parametrize("way", WAYS)
def test_a_pair_goes_back_to_every_earlier_stage_and_to_no_other(way: str, terms: Terms) -> None:
    route = new_route(way, terms)
    for here, there in product(route, STAGES):
        state = at(here, terms, way)
        could = there in route[: route.index(here)] and there not in ("send", "receive") and here != "wear_in"
        try:
            outcome = do(state, "send_back", to_stage=there, reason="shape")
        except Refusal:
            assert not could, f"{here} back to {there} was refused"
            continue
        assert could, f"{here} back to {there} was let through"
        far = terms.by_parcel and state.place == "clinic" and place_of(there, route, terms) != "clinic"
        assert outcome.state.stage == ("return" if far else there)


# Every act at every stage


WHERE = {
    "advance": "check_in prepare pour carve correct press mill grind cover trim inspect send receive return",
    "start": "check_in prepare pour carve correct press mill grind cover trim inspect send",
    "put_down": "check_in prepare pour carve correct press mill grind cover trim inspect send",
    "park": "anywhere",
    "ask": "anywhere",
    "answer": "nowhere",
    "resume": "nowhere",
    "send_back": "prepare pour carve correct press mill grind cover trim inspect send receive dispense",
    "recapture": "check_in prepare pour carve correct press mill grind cover trim inspect",
    "amend": "check_in prepare pour carve correct press mill grind cover trim inspect send",
    "promise": "anywhere",
    "dispense": "dispense",
    "tell": "anywhere",
    "book": "anywhere",
    "no_show": "anywhere",
    "adjust": "wear_in",
    "keep_wearing": "wear_in",
    "settle": "wear_in",
    "note_request": "wear_in",
    "refurbish": "wear_in",
    "remake": "dispense wear_in",
    "withdraw": "anywhere",
    "close": "wear_in",
    "uncollected": "dispense",
    "order": "nowhere",
    "reopen": "nowhere",
    "take_back": "anywhere",
    "transfer": "anywhere",
}
"""Where each act may be done to a pair that is not parked, written down apart from the machine."""


def places(words: str) -> set[str]:
    return {"anywhere": set(STAGES), "nowhere": set()}.get(words, set(words.split()))


def test_the_table_of_this_test_names_every_act() -> None:
    assert set(WHERE) == set(ACTS)
    assert set(EFFECTS) <= set(ACTS)


@pytest.mark.parametrize("act", ACTS)
def test_each_act_is_possible_at_its_stages_and_nowhere_else(act: str) -> None:
    possible = {stage for stage in STAGES if when(at(stage, PARCEL_LAB_TRIMS), ACTS[act]) is None}
    assert possible == places(WHERE[act])


AFTER = {
    "settled": {"refurbish", "remake", "transfer", "take_back"},
    "withdrawn": {"reopen", "transfer"},
    "closed": {"reopen", "transfer"},
    "uncollected": {"reopen", "transfer"},
    "replaced": {"transfer"},
}


@pytest.mark.parametrize("end", ENDS)
def test_after_its_end_a_pair_takes_only_what_starts_it_again(end: str) -> None:
    ended = replace(at("press"), sides={}, end=end)
    assert {act for act in ACTS if when(ended, ACTS[act]) is None} == AFTER[end]


STANDS_STILL = {"advance", "start", "dispense", "adjust", "keep_wearing", "settle", "refurbish"}


@pytest.mark.parametrize(("act", "stage"), list(product(ACTS, STAGES)))
def test_a_parked_pair_stays_until_its_questions_are_closed(act: str, stage: str) -> None:
    parked = at(stage, PARCEL_LAB_TRIMS, holds=(Hold(7, "question", "clinic"),))
    free = when(at(stage, PARCEL_LAB_TRIMS), ACTS[act]) is None
    if act in ("answer", "resume"):
        assert when(parked, ACTS[act]) is None
    else:
        assert (when(parked, ACTS[act]) is None) is (free and act not in STANDS_STILL)


OWNERS = {
    "check_in": "technician",
    "send": "technician",
    "receive": "clinician",
    "return": "clinician",
    "dispense": "clinician",
    "wear_in": "clinician",
}


@pytest.mark.parametrize("stage", STAGES)
def test_a_stage_s_work_belongs_to_who_is_where_the_pair_is(stage: str) -> None:
    for terms in (PARCEL_LAB_TRIMS, PARCEL_CLINIC_TRIMS):
        owner = OWNERS.get(stage, "technician")
        if stage == "trim" and terms.trims_at_clinic:
            owner = "clinician"
        state = at(stage, terms)
        allowed = {role for role in Role if may(state, ACTS["park"], person(role)) is None}
        assert allowed == {owner}


def test_in_the_house_either_role_checks_a_cast_in() -> None:
    for role in ("technician", "clinician"):
        assert may(at("check_in"), ACTS["advance"], person(role)) is None


def test_roles_add_up() -> None:
    both = person("technician", "clinician")
    for stage in STAGES:
        assert may(at(stage, PARCEL_LAB_TRIMS), ACTS["park"], both) is None


def test_an_answer_belongs_to_the_one_it_waits_on() -> None:
    for waiting_on, role in (("clinic", "clinician"), ("lab", "technician")):
        asked = at("press", holds=(Hold(1, "question", waiting_on),))
        assert may(asked, ACTS["answer"], person(role)) is None
    assert may(at("press", holds=(Hold(1, "question", "clinic"),)), ACTS["answer"], person("technician"))


def test_what_is_not_this_role_s_is_refused_in_words() -> None:
    with pytest.raises(NotAllowed, match="belongs to a technician while 26-00417-D stands at 'To press'"):
        do(at("press"), "advance", by=person("clinician"))


# Sides


def test_a_side_sent_back_alone_leaves_the_other_with_its_work_kept() -> None:
    back = do(at("trim"), "send_back", sides="L", to_stage="press", reason="cracked").state
    assert dict(back.sides) == {"L": "press", "R": "trim"}
    assert back.stage == "press"
    assert back.working == "L"
    on = do(back, "advance").state
    assert dict(on.sides) == {"L": "cover", "R": "trim"}
    together = do(on, "advance").state
    assert together.working == "LR"


def test_a_side_that_is_ahead_has_no_work_here() -> None:
    back = do(at("trim"), "send_back", sides="L", to_stage="press", reason="cracked").state
    with pytest.raises(Unready, match="right of 26-00417-D has no work at 'To press'"):
        do(back, "advance", sides="R")


def test_the_other_side_of_a_single_device_is_refused() -> None:
    with pytest.raises(BadInput, match="has right; 'L' is not part of it"):
        do(at("trim", sides="R"), "send_back", sides="L", to_stage="press")


def test_a_short_cover_goes_back_to_cover_never_to_trim() -> None:
    with pytest.raises(BadInput, match="can't be added back"):
        do(at("dispense"), "send_back", to_stage="trim", reason="too_short")
    assert do(at("dispense"), "send_back", to_stage="cover", reason="too_short").state.stage == "cover"


def test_one_side_goes_back_from_a_parcel_clinic_and_the_other_waits_there() -> None:
    state = do(at("dispense", PARCEL_LAB_TRIMS), "send_back", sides="R", to_stage="grind", reason="post").state
    assert dict(state.sides) == {"L": "dispense", "R": "return"}
    assert state.route[:3] == ("return", "check_in", "grind")
    assert state.place == "clinic"
    assert do(state, "advance").state.place == "way"


# Out of date, incomplete, ended


def test_a_request_for_where_the_pair_no_longer_is_says_where_it_is_now() -> None:
    state = at("cover", version=5)
    with pytest.raises(MovedOn, match="stands at 'To cover', not at 'To press'") as refusal:
        decide(state, Asked("advance", "press"), ANYONE)
    assert refusal.value.facts == {"stage": "cover", "version": 5, "end": None}


def test_the_same_stage_reached_twice_is_not_the_same() -> None:
    with pytest.raises(MovedOn, match="changed meanwhile"):
        decide(at("press", version=9), Asked("advance", "press", version=4), ANYONE)


def test_everything_missing_is_named_at_once() -> None:
    with pytest.raises(BadInput) as refusal:
        decide(at("trim"), Asked("send_back", "trim"), ANYONE)
    assert set(refusal.value.fields) == {"sides", "to_stage", "reason"}


def test_withdrawing_needs_the_code_typed() -> None:
    asked = Asked("withdraw", "press", reason="moved away", facts={"code": "26-00418-X"})
    with pytest.raises(BadInput, match="Type the pair's code, 26-00417-D"):
        decide(at("press"), asked, ANYONE)
    assert do(at("press"), "withdraw").state.end == "withdrawn"


def test_a_pair_goes_on_when_the_last_question_is_closed() -> None:
    state = at("press", holds=(Hold(1, "question", "clinic"), Hold(2, "reason", "supplier")))
    one = do(state, "answer", facts={"holds": [1]}).state
    assert [hold.id for hold in one.holds] == [2]
    assert do(one, "resume").state.holds == ()


def test_a_prescription_changed_on_the_bench_stops_the_pair_until_a_technician_chooses() -> None:
    stopped = do(at("press"), "amend").state
    assert stopped.waiting_on == {"lab"}
    numbered = replace(stopped, holds=(replace(stopped.holds[0], id=3),))
    assert do(numbered, "resume", by=person("technician")).state.holds == ()
    back = do(numbered, "send_back", to_stage="pour", reason="prescription").state
    assert (back.stage, back.holds) == ("pour", ())
    assert do(at("check_in"), "amend").state.holds == ()


def test_a_broken_cast_sends_its_side_to_check_in_and_asks_the_clinic() -> None:
    state = do(at("pour"), "recapture", sides="R", reason="broken").state
    assert dict(state.sides) == {"L": "pour", "R": "check_in"}
    assert state.waiting_on == {"clinic"}


def test_a_second_pair_from_the_positive_gets_check_in_back_when_its_capture_is_void() -> None:
    route = new_route("cast", HOUSE, "press")
    state = State("26-00417-D", {"L": "press", "R": "press"}, "LR", route, HOUSE)
    again = do(state, "recapture", sides="L", reason="wrong_patient").state
    assert again.route[0] == "check_in"
    assert again.stage == "check_in"


def test_dispensing_starts_wearing_in_and_ends_a_refurbishment() -> None:
    assert do(at("dispense"), "dispense").state.stage == "wear_in"
    refurbished = replace(at("dispense"), route=refurbishment_route(HOUSE), reason="refurbishment")
    assert do(refurbished, "dispense").state.end == "settled"


def test_an_adjustment_at_the_lab_is_a_visit_of_its_own() -> None:
    facts = {"where": "lab", "stages": ["grind"]}
    outcome = do(at("wear_in", PARCEL_LAB_TRIMS), "adjust", sides="L", facts=facts)
    assert outcome.new_visit == "adjustment"
    assert dict(outcome.state.sides) == {"L": "return", "R": "send"}


def test_an_adjustment_here_leaves_the_pair_in_wearing_in() -> None:
    outcome = do(at("wear_in"), "adjust", sides="L", facts={"where": "here"})
    assert outcome.state.stage == "wear_in"
    assert outcome.new_visit is None


@pytest.mark.parametrize(
    ("act", "reasons"),
    [("send_back", SEND_BACK_REASONS), ("recapture", RECAPTURE_REASONS), ("remake", REMAKE_REASONS)],
)
def test_a_coded_reason_is_one_of_its_list(act: str, reasons: dict[str, str]) -> None:
    state = at("dispense" if act != "recapture" else "pour")
    more: dict[str, Any] = {"to_stage": "press"} if act == "send_back" else {}
    with pytest.raises(BadInput, match="is not a reason for"):
        do(state, act, reason="because", **more)
    assert ACTS[act].reasons == reasons


def test_facts_that_no_act_knows_are_refused() -> None:
    with pytest.raises(BadInput, match="has no fact 'diagnosis'"):
        do(at("press"), "advance", facts={"diagnosis": "M72.2"})

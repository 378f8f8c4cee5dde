"""What goes on in the lab: casts that do not come, questions, work that comes back, days that can't be kept."""

from app.demo.telling import Teller, Telling


def nothing_has_come(t: Teller) -> Telling:
    yield t.worked(7.4)
    t.order("Upper Quay")


def one_foot_of_two(t: Teller) -> Telling:
    yield t.worked(2.6)
    pair = t.order("Harbour Steps")
    yield t.worked(1.2)
    pair.match(
        t.arrive("slipper_plaster", "L", pair.label, "Harbour Steps", words="The right one is not in the box."), "L"
    )


def both_casts_are_here(t: Teller) -> Telling:
    yield t.worked(1.6)
    pair = t.order("Gull Lane", brings=("liners",))
    yield t.worked(0.3)
    pair.match(t.arrive("slipper_fibreglass", "LR", pair.label, "Gull Lane"))


def scans_to_come(t: Teller) -> Telling:
    yield t.worked(0.15)
    t.order("Harbour Steps", way="direct", wearer=t.wearer(child=True))


def boxes_that_belong_to_nobody(t: Teller) -> Telling:
    yield t.worked(2.1)
    t.arrive("foam", "LR", "RS 5512", "Gull Lane", words="Nobody has ordered for this label.")
    yield t.worked(1.3)
    words = "Two names on one box: the left says RT 5518, the right says IV 5520."
    t.arrive("slipper_plaster", "LR", "RT 5518 / IV 5520", "Upper Quay", words=words)
    yield t.worked(0.7)
    t.arrive("slipper_plaster", "R", "", damaged=True, words="Cracked through the heel; the label is washed off.")
    yield t.worked(0.1)
    t.arrive("foam", "L", "OF 5523", "Gull Lane", words="The left alone.")


def sent_back_three_times(t: Teller) -> Telling:
    """And late for it: what is left takes longer than the days up to the promised one."""
    yield t.worked(9.9)
    pair = t.order("Harbour Steps", brings=("shoes",))
    yield from pair.walk("cover", t.worked(5.8))
    yield t.worked(5.2)
    pair.bench("send_back", to_stage="press", sides="L", reason="shape")
    yield from pair.walk("cover", t.worked(3.6))
    yield t.worked(3.1)
    pair.bench("send_back", to_stage="press", sides="L", reason="cracked")
    yield from pair.walk("cover", t.worked(1.6))
    yield t.worked(0.9)
    words = {"words": "The positive itself is off at the heel: pour again."}
    pair.bench("send_back", to_stage="pour", sides="LR", reason="shape", facts=words)


def prescription_changed_at_cover(t: Teller) -> Telling:
    yield t.worked(5.8)
    pair = t.order("Upper Quay")
    yield from pair.walk("cover", t.worked(0.9))
    yield t.worked(0.4)
    pair.amend("The wearer has bought other shoes.", cover_length="sulcus", cover_thickness=20)


def clinic_does_not_answer(t: Teller) -> Telling:
    yield t.worked(5.6)
    pair = t.order("Gull Lane", way="carved")
    yield from pair.walk("press", t.worked(3.5))
    yield t.worked(3.2)
    pair.bench("ask", reason="The scan is of the left foot twice. Which pair of files is meant?", waiting_on="clinic")


def lab_is_asked(t: Teller) -> Telling:
    yield t.worked(3.4)
    pair = t.order("Harbour Steps")
    yield from pair.walk("correct", t.worked(0.8))
    yield t.worked(0.35)
    pair.act("ask", reason="The wearer travels on Friday week. Can it be ready two days sooner?", waiting_on="lab")


def material_does_not_come(t: Teller) -> Telling:
    """And the promised day has gone by meanwhile."""
    yield t.worked(14.2)
    pair = t.order("Harbour Steps", wearer=t.wearer(child=False, risks=("diabetes",)))
    yield from pair.walk("cover", t.worked(8.1))
    yield t.worked(7.6)
    pair.bench("park", reason="material", waiting_on="supplier", facts={"words": "Leather 1.5 mm is out of stock."})


def wearer_asked_to_wait(t: Teller) -> Telling:
    yield t.worked(8.2)
    pair = t.order("Upper Quay", brings=("old_pair",))
    yield from pair.walk("inspect", t.worked(4.3))
    yield t.worked(4.1)
    pair.act("ask", reason="The wearer is in hospital for two weeks: keep it until they call.", waiting_on="wearer")


def payer_has_not_agreed(t: Teller) -> Telling:
    """The lab has promised another day, so that this one does not pass."""
    yield t.worked(13.7)
    pair = t.order("Gull Lane", way="direct")
    yield from pair.walk("mill", t.worked(12.1))
    yield t.worked(11.6)
    pair.bench("park", reason="approval", waiting_on="payer", facts={"words": "The second pair within a year."})
    pair.owes(approval="asked", payment="none")
    yield t.worked(6.2)
    pair.act("promise", by=t.manager, reason="The payer takes longer.", facts={"day": t.ahead(9).date().isoformat()})


def forgotten_tray(t: Teller) -> Telling:
    yield t.worked(8.3)
    pair = t.order("Harbour Steps")
    yield from pair.walk("grind", t.worked(4.2))


def promised_day_has_passed(t: Teller) -> Telling:
    yield t.worked(16.3)
    pair = t.order("Upper Quay")
    yield from pair.walk("trim", t.worked(1.2))


def fitting_before_the_promised_day(t: Teller) -> Telling:
    yield t.worked(4.6)
    pair = t.order("Harbour Steps")
    yield from pair.walk("cover", t.worked(0.6))
    yield t.worked(0.5)
    pair.act("book", facts={"at": t.ahead(1).isoformat(), "what": "fitting"})


def cast_is_unreadable(t: Teller) -> Telling:
    yield t.worked(2.9)
    pair = t.order("Harbour Steps", wearer=t.wearer(child=True))
    yield from pair.walk("pour", t.worked(1.6))
    yield t.worked(1.1)
    pair.bench("recapture", sides="R", reason="unreadable")


def withdrawn_with_shoes_left(t: Teller) -> Telling:
    yield t.worked(8.8)
    pair = t.order("Harbour Steps", brings=("shoes", "liners"))
    yield from pair.walk("pour", t.worked(7.2))
    yield t.worked(4.4)
    pair.act("withdraw", reason="The wearer moves away.", facts={"code": pair.code})


ALL = (
    nothing_has_come,
    one_foot_of_two,
    both_casts_are_here,
    scans_to_come,
    boxes_that_belong_to_nobody,
    sent_back_three_times,
    prescription_changed_at_cover,
    clinic_does_not_answer,
    lab_is_asked,
    material_does_not_come,
    wearer_asked_to_wait,
    payer_has_not_agreed,
    forgotten_tray,
    promised_day_has_passed,
    fitting_before_the_promised_day,
    cast_is_unreadable,
    withdrawn_with_shoes_left,
)

"""What a clinic keeps beside its pairs: an order begun, prescriptions and plans to begin with, what a payer said."""

from datetime import timedelta

from app.demo.stories.clinic import worn
from app.demo.telling import Teller, Telling
from app.desks.actions.positives import change_positive
from app.fitting import actions as fitting
from app.fitting.queries import plans
from app.fitting.rules.plan import own_key
from app.orders.actions.drafts import keep_draft
from app.orders.actions.starts import keep_start
from app.orders.rules import Body
from app.people.actions.lab import keep_clinic

HERE = "Harbour Steps"
SLOWLY = {"name": "Slowly, after a long rest", "start_minutes": "30", "step_minutes": "30", "target_minutes": "360"}
WALKING = {"shell": "polypropylene", "shell_thickness": 40, "shell_length": "metatarsals", "heel_cup": 140}
WALKING |= {"rearfoot_post": "4/4", "cover": "eva", "cover_thickness": 30, "cover_length": "toes"}
SOFT = {"shell": "eva", "shell_thickness": 100, "shell_length": "metatarsals", "cover": "foam", "cover_thickness": 30}
BEGUN = {
    "label": "HW 2044",
    "way": "cast",
    "sides": "LR",
    "capture.L": "foam",
    "capture.R": "foam",
    "L.shell": "polypropylene",
    "L.shell_thickness": "4",
    "L.cover": "leather",
    "rush": "Sails with the school on the first of the month.",
}
"""As it was left: the right side is still to be said."""
AT_HOME = (
    {"minutes": "30", "comfort": "4", "skin": "clear"},
    {"minutes": "60", "comfort": "3", "skin": "clear"},
    {"minutes": "90", "comfort": "3", "skin": "mark_gone"},
)
"""The first days of the wearer who then sees a mark that stays."""


def clinic_is_set_up(t: Teller) -> Telling:
    """It waits for the payer before it dispenses, and offers a plan of its own."""
    yield t.days(64)
    clinic = t.clinics[HERE]
    keep_clinic(t.db, by=t.manager, clinic_id=clinic.id, name=HERE, waits_for=["approval"])
    fitting.keep_plan(t.db, clinic_id=clinic.id, typed=SLOWLY, by=t.clinicians[clinic.id])


def prescriptions_to_begin_with(t: Teller) -> Telling:
    """One for everybody of the clinic, one of a clinician alone."""
    yield t.days(40)
    clinic = t.clinics[HERE].id
    for name, whose, items in (("Walking shoe, usual", clinic, WALKING), ("Child, soft all over", None, SOFT)):
        body: Body = {side: dict(items) for side in "LR"}
        keep_start(t.db, by=t.clinicians[clinic], name=name, clinic_id=whose, way="cast", body=body)


def order_is_begun(t: Teller) -> Telling:
    yield t.worked(0.25)
    clinic = t.clinics[HERE].id
    typed = BEGUN | {"clinic_id": str(clinic)}
    keep_draft(t.db, by=t.clinicians[clinic], key="begun-before-lunch", clinic_id=clinic, typed=typed)


def question_for_a_later_stage(t: Teller) -> Telling:
    """The pair goes on up to the cover, and stops there if nobody has answered."""
    yield t.worked(2.4)
    pair = t.order(HERE)
    yield from pair.walk("correct", t.worked(0.6))
    yield t.worked(0.4)
    words = "Cover to the toes, or to the sulcus as in the last pair?"
    pair.bench("ask", reason=words, waiting_on="clinic", facts={"before": "cover"})


def mark_that_stays(t: Teller) -> Telling:
    """Worn in slowly, by the clinic's own plan; on the own page a red flag was noted, and nobody has looked yet."""
    seen = t.worked(0.3)
    since = t.days(5, before=seen)
    yield t.worked(12.4, before=since)
    own = plans.offered(t.db, [t.clinics[HERE].id])[0]
    pair = yield from worn(t, HERE, since, facts={"dispense": {"plan": {"key": own_key(own.id)}}})
    secret = fitting.give_page(t.db, code=pair.code, by=pair.clinician)
    for number, day in enumerate(AT_HOME):
        yield since + timedelta(days=number, hours=7)
        for name, value in day.items():
            fitting.note(t.db, secret=secret, address="", name=name, value=value)
    yield seen
    for name, value in (("comfort", "2"), ("skin", "red_flag")):
        fitting.note(t.db, secret=secret, address="", name=name, value=value)


def second_pair_from_the_same_casts(t: Teller) -> Telling:
    """The first is settled, and its positives were kept: over them the second was pressed, thinner for another shoe."""
    again = t.worked(4.2)
    settled = t.worked(1.5, before=again)
    pair = yield from worn(t, HERE, t.days(15, before=settled))
    yield settled
    pair.act("settle", facts={"review": {"comfort": 9, "pain": 1, "pain_relief": 80, "hours_reached": 9}})
    yield again
    second = t.second(pair, cover_thickness=10)
    for side in "LR":
        change_positive(t.db, code=second.code, side=side, act="put", shelf="P4", by=t.technician())
    yield from second.walk("trim", t.worked(0.6))


ALL = (
    clinic_is_set_up,
    prescriptions_to_begin_with,
    order_is_begun,
    question_for_a_later_stage,
    mark_that_stays,
    second_pair_from_the_same_casts,
)

"""Where a manager sets the bench: plaster, margins, whether blanks are cut here, what stages can do, the oven table."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.bench import actions, queries
from app.bench.rules.settings import CAPACITY, CHOICES, OVEN_NUMBERS, TRUSTS, BenchSettings, oven_words, read
from app.bench.rules.stages import STAGES
from app.errors import BadInput
from app.orders.rules import MATERIALS
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.web import Form, Typed

router = APIRouter(include_in_schema=False)


@router.get("/lab/bench")
def bench_form(request: Request, ask: Signed) -> Response:
    return _form(request, ask)


def _form(request: Request, ask: Ask, typed: Typed | None = None, errors: Mapping[str, str] | None = None) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "manage_lab")
        settings, demo = queries.bench_settings(db), people.lab(db).demo
    typed = typed or stored(settings)
    words = {number: oven_words(row) for number, row in enumerate(settings.oven)}
    errors = errors or {}
    return page(
        request,
        "bench/settings.html",
        viewer=viewer,
        status=422 if errors else 200,
        demo=demo,
        typed=typed,
        errors=errors,
        choices=CHOICES,
        benches=[(key, stage.queue) for key, stage in STAGES.items() if stage.bench],
        capacity=CAPACITY,
        capacity_wrong=any(name.split(".")[0] in CAPACITY for name in errors),
        oven=[(number, words.get(number, ""), _wrong(errors, number)) for number in range(_rows(typed))],
        oven_numbers=OVEN_NUMBERS,
        materials=list(MATERIALS.items()),
        material_words=MATERIALS,
        trusts=[(trust, trust) for trust in TRUSTS],
    )


def _wrong(errors: Mapping[str, str], number: int) -> bool:
    return any(name.startswith(f"oven.{number}.") for name in errors)


def _rows(typed: Mapping[str, str]) -> int:
    """As many rows of the oven's table as were filled in, and an empty one."""
    filled = [int(name.split(".")[1]) for name, value in typed.items() if name.startswith("oven.") and value]
    return max(filled, default=-1) + 2


def stored(settings: BenchSettings) -> Typed:
    """The settings in the form in which the page's fields would send them."""
    plain: dict[str, Any] = {name: getattr(settings, name) for name in CHOICES}
    pairs = [(name, _written(value)) for name, value in plain.items() if value is not False]
    for name in CAPACITY:
        pairs += [(f"{name}.{stage}", _written(value)) for stage, value in getattr(settings, name).items()]
    for number, row in enumerate(settings.oven):
        pairs += [(f"oven.{number}.{name}", _written(value)) for name, value in asdict(row).items()]
    return Typed(pairs)


def _written(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


@router.post("/lab/bench")
def change_bench(request: Request, ask: Signed, form: Form) -> Response:
    """Holds from the next figure on; what was printed stays as it was."""
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "manage_lab")
            actions.set_up_bench(db, by=viewer, settings=read(form, queries.bench_settings(db)))
    except BadInput as refusal:
        return _form(request, ask, form, refusal.fields)
    return go("/lab/bench", "The bench's settings are saved; the next figures go by them.")

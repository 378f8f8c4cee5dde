"""Draws the machine as it is for DEVELOPERS.md; a test compares, so that the picture can't go stale.

`python -m app.bench.rules.diagram` prints it.
"""

from itertools import pairwise

from app.bench.rules.acts import ACTS, ENDS
from app.bench.rules.stages import STAGES, WAYS, Terms, new_route

ALL = frozenset(key for key, stage in STAGES.items() if stage.optional)
BEGIN, END = "<!-- machine: begin -->", "<!-- machine: end -->"


def diagram() -> str:
    """A state diagram of every new pair's routes, and a table of every act with its owner and what it needs."""
    steps: dict[tuple[str, str], None] = {}
    for way in WAYS:
        for by_parcel in (False, True):
            for trims in (False, True):
                route = new_route(way, Terms(ALL, by_parcel, trims))
                steps |= dict.fromkeys(pairwise(route))
    lines = ["```mermaid", "stateDiagram-v2", "    [*] --> check_in: order"]
    for here, there in steps:
        lines.append(f"    {here} --> {there}: {'dispense' if here == 'dispense' else 'advance'}")
    lines += ["    return --> check_in: advance", "    dispense --> return: send_back"]
    lines += [f"    wear_in --> {end}: {act}" for act, end in (("settle", "settled"), ("close", "closed"))]
    lines += ["    wear_in --> return: adjust", "    dispense --> uncollected: uncollected", "```", ""]
    lines += ["| act | owner | at | parked too | needs |", "|---|---|---|---|---|"]
    for act in ACTS.values():
        owner = act.owner if isinstance(act.owner, str) else ", ".join(sorted(act.owner))
        everywhere = act.at == frozenset(STAGES)
        at = "every stage" if everywhere else ", ".join(key for key in STAGES if key in act.at) or "—"
        after = f"; after {', '.join(end for end in ENDS if end in act.after)}" if act.after else ""
        needs = ", ".join(act.needs) or "—"
        lines.append(f"| `{act.key}` | {owner} | {at}{after} | {'yes' if act.parked else 'no'} | {needs} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(diagram())  # noqa: T201 - this is what the command is for

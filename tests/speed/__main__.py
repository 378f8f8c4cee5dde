"""`./pairtrail measure`: each figure is a ratio within one run, so that it means the same on any machine."""

import argparse
import os
import platform
from collections.abc import Callable, Iterator
from functools import cache, partial

from tests.speed import acts, forecast, lots, paper, queue_page, station, where_time_goes
from tests.speed.measured import A_YEAR, lab
from tests.speed.report import HEAD, Line


def main() -> None:
    asked = argparse.ArgumentParser(prog="pairtrail measure")
    asked.add_argument("--pairs", type=int, default=20_000, help="size of the lab, at least 1000 (default 20000)")
    asked.add_argument("--a-year", type=int, default=A_YEAR, help=f"how many it has a year (default {A_YEAR})")
    asked.add_argument(
        "--only",
        nargs="+",
        choices=["queue", "change", "growth", "acts", "station", "turnaround", "lots", "ticket", "forecast"],
        default=[],
    )
    options = asked.parse_args()
    if options.pairs < 1000:
        asked.error("a lab of fewer than 1000 pairs has no full queue to measure")
    large = cache(partial(lab, options.pairs, options.a_year))
    print(f"{os.cpu_count()} processors, {platform.system()} {platform.machine()}, Python {platform.python_version()}")
    print(HEAD, flush=True)
    measures: dict[str, Callable[[], Iterator[Line]]] = {
        "queue": lambda: queue_page.unchanged(large()),
        "change": lambda: queue_page.changed(large()),
        "growth": lambda: queue_page.growth(lab(options.pairs // 10, options.a_year), large()),
        "acts": lambda: acts.acts(large()),
        "station": lambda: station.scans(large()),
        "turnaround": lambda: where_time_goes.turnaround(large()),
        "lots": lambda: lots.trace(large()),
        "ticket": lambda: paper.ticket(large()),
        "forecast": forecast.forecast,
    }
    lines: list[Line] = []
    for name, measure in measures.items():
        if not options.only or name in options.only:
            for line in measure():
                print(line.words(), flush=True)
                lines.append(line)
    print(f"{sum(line.met() for line in lines)} of {len(lines)} aims are met.")


if __name__ == "__main__":
    main()

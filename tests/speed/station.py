"""How long does a bench wait from a scan to the answer on its screen, against a bare request of the same browser?

Both begin with Enter and end with the frame in which the answer stands. The bare request is answered without a look at
the database, so that the rest is what Pairtrail takes: reading, deciding, writing durably, drawing.
"""

import os
from collections.abc import Iterator
from typing import Any

from playwright.sync_api import sync_playwright

from app.bench import queries
from app.bench.rules import cards
from app.bench.rules.stages import MAKING
from tests.speed import load, measured
from tests.speed.measured import Lab
from tests.speed.report import Line

TIMES = 60
MEASURE = """async ([texts, kind]) => {
    const form = document.getElementById("station"), place = document.querySelector("[data-answer]");
    const frame = () => new Promise(done => requestAnimationFrame(() => setTimeout(done)));
    const drawn = () => new Promise(done => {
        const watch = new MutationObserver(() => {
            if (!place.querySelector(`[data-kind=${kind}]`)) return;
            watch.disconnect();
            done();
        });
        watch.observe(place, { childList: true });
    });
    const taken = [];
    for (const [before, text] of texts) {
        if (before) {
            const shown = new Promise(done => new MutationObserver((_, me) => (me.disconnect(), done()))
                .observe(place, { childList: true }));
            form.elements.scan.value = before;
            form.requestSubmit();
            await shown;
            await frame();
        }
        const start = performance.now(), answered = drawn();
        form.elements.scan.value = text;
        form.requestSubmit();
        await answered;
        await frame();
        taken.push(performance.now() - start);
    }
    return taken;
}"""
BARE = """async times => {
    const frame = () => new Promise(done => requestAnimationFrame(() => setTimeout(done)));
    const taken = [];
    for (let n = 0; n < times; n++) {
        const start = performance.now();
        await (await fetch("/health/live", { cache: "no-store" })).json();
        await frame();
        taken.push(performance.now() - start);
    }
    return taken;
}"""


def scans(lab: Lab) -> Iterator[Line]:
    with measured.copy_of(lab, "station") as copy:
        with measured.opened(copy.file) as database, database.reading() as db:
            stage = next(key for key in MAKING if len(queries.queue(db, key, clinics=None, limit=TIMES)[0]) == TIMES)
            codes = [row.code for row in queries.queue(db, stage, clinics=None, limit=TIMES)[0] if not row.parked_on]
        with measured.pairtrail(copy.file) as server:
            bare, looks, acts = _in_a_browser(server.port, copy.cookie, stage, codes)
    for work, taken in (("scan to the pair on the screen", looks), ("done card to the answer on the screen", acts)):
        mine, theirs = load.percentile(taken, 0.5), load.percentile(bare, 0.5)
        told = f"{mine:.0f} ms, p99 {load.percentile(taken, 0.99):.0f}"
        yield Line(work, told, f"a bare request {theirs:.0f} ms", mine / theirs, 4, most=True)


def _in_a_browser(port: int, cookie: str, stage: str, codes: list[str]) -> tuple[Any, Any, Any]:
    address = f"http://127.0.0.1:{port}"
    with sync_playwright() as playwright:
        path = os.environ.get("PAIRTRAIL_CHROMIUM") or None
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        context = browser.new_context(viewport={"width": 800, "height": 1280})
        context.add_cookies([{"name": "pairtrail", "value": cookie, "url": address}])
        page = context.new_page()
        page.goto(f"{address}/bench?stage={stage}")
        page.wait_for_selector("html[data-ready]", state="attached")
        bare = page.evaluate(BARE, TIMES)
        looks = page.evaluate(MEASURE, [[["", code] for code in codes], "here"])
        acts = page.evaluate(MEASURE, [[[code, cards.DONE.payload] for code in codes], "done"])
        browser.close()
    return bare, looks, acts

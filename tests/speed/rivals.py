"""The raw limit: the queue's own query and str.join behind a bare Starlette route; no sign-in, counts or escaping."""

import os
import sqlite3

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse
from starlette.routing import Route

QUERY = """
SELECT pair.code, pair.label, clinic.name, pair.all_sides, pair.left_stage, pair.right_stage, pair.reason, pair.needs,
       pair.due_on, pair.since, pair.place, pair.parked_on, pair.rush, pair.tray, pair.version
FROM pair JOIN clinic ON clinic.id = pair.clinic_id
WHERE pair.stage = ? AND (pair.not_before IS NULL OR pair.not_before <= datetime('now'))
ORDER BY pair.due_on, pair.since, pair.id LIMIT 51
"""
ROW = """<li><div class="what"><a class="code" href="/pair/{0}">{0}</a><div class="soft">tray {13}</div></div>
<div class="who">{1}<div class="soft">{2}</div></div><div class="needs"><b>{7}</b><span>{3}</span></div>
<div class="when">{8}<div class="soft">here {9}</div></div><div class="do">
<form method="post" action="/pair/{0}/acts"><input type="hidden" name="act" value="advance">
<input type="hidden" name="from_stage" value="{4}"><input type="hidden" name="version" value="{14}">
<button type="submit" class="act">{0}</button></form></div></li>"""
connection = sqlite3.connect(os.environ["PAIRTRAIL_MEASURED"], isolation_level=None, check_same_thread=False)


async def queue(request: Request) -> HTMLResponse:
    rows = connection.execute(QUERY, (request.path_params["stage"],))
    lines = "".join([ROW.format(*row) for row in rows][:50])
    return HTMLResponse(f"<!DOCTYPE html><html><body><ul>{lines}</ul></body></html>")


app = Starlette(routes=[Route("/queue/{stage}", queue)])

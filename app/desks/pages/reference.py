"""The API's reference as a page of our own, made from the same OpenAPI file that programs read."""

import json
import re
import shlex
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.desks.examples import CODE
from app.people import queries as people
from app.people.sessions import Signed
from app.templating import page

router = APIRouter(include_in_schema=False)
Schema = Mapping[str, Any]


class Part(NamedTuple):
    """One parameter, or one field of a body or an answer."""

    name: str
    kind: str
    needed: bool
    words: str


class Shown(NamedTuple):
    """An example: what it does, what else may be said, and a command that sends it."""

    summary: str
    words: str
    command: str


class Operation(NamedTuple):
    id: str
    method: str
    path: str
    summary: str
    words: str
    parameters: list[Part]
    body_words: str
    body: list[Part]
    examples: list[Shown]
    status: str
    answer: list[Part]
    refusals: list[tuple[str, str]]


class Group(NamedTuple):
    name: str
    operations: list[Operation]


@router.get("/api/docs")
def reference(request: Request, ask: Signed) -> Response:
    """For everyone who is signed in: it tells how to ask and holds nothing that could be asked for."""
    with ask.reading() as (viewer, db):
        demo = people.lab(db).demo
    openapi = request.app.openapi()
    groups = read(openapi, str(request.base_url).rstrip("/"))
    problem = next(_problems(openapi), [])
    return page(
        request, "desks/reference.html", viewer=viewer, demo=demo, groups=groups, problem=problem, example_code=CODE
    )


def read(openapi: Schema, address: str) -> list[Group]:
    """The operations in the order of the file, by their first tag; `address` is where this server was asked."""
    groups: dict[str, list[Operation]] = {}
    for path, methods in openapi["paths"].items():
        for method, operation in methods.items():
            made = _operation(openapi, address, method.upper(), path, operation)
            groups.setdefault(operation["tags"][0], []).append(made)
    return [Group(tag.capitalize(), operations) for tag, operations in groups.items()]


def _operation(openapi: Schema, address: str, method: str, path: str, operation: Schema) -> Operation:
    media, content = next(iter(operation.get("requestBody", {"content": {"": {}}})["content"].items()))
    schema = _resolved(openapi, content.get("schema", {}))
    answers = operation["responses"]
    status = next(iter(answers))
    answer = _resolved(openapi, answers[status].get("content", {}).get("application/json", {}).get("schema", {}))
    ask = _command(method, f"{address}{path}", operation.get("parameters", []))
    sending = _sending_form if media == "multipart/form-data" else _sending
    examples = [
        Shown(each["summary"], each.get("description", ""), sending(ask, each["value"]))
        for each in content.get("examples", {}).values()
    ]
    return Operation(
        id=re.sub(r"[^a-z0-9]+", "-", f"{method}{path.removeprefix('/api/v1')}".lower()).strip("-"),
        method=method,
        path=path,
        summary=operation["summary"],
        words=operation.get("description", ""),
        parameters=[
            Part(each["name"], _kind(openapi, each["schema"]), each["required"], each.get("description", ""))
            for each in operation.get("parameters", [])
        ],
        body_words=schema.get("description", ""),
        body=_fields(openapi, schema),
        examples=examples or [Shown("", "", ask)],
        status=status,
        answer=_fields(openapi, answer),
        refusals=[(code, said["description"]) for code, said in sorted(answers.items()) if code >= "400"],
    )


def _problems(openapi: Schema) -> Iterator[list[Part]]:
    for methods in openapi["paths"].values():
        for operation in methods.values():
            for said in operation["responses"].values():
                if "application/problem+json" in said.get("content", {}):
                    yield _fields(openapi, said["content"]["application/problem+json"]["schema"])


def _resolved(openapi: Schema, schema: Schema) -> Schema:
    if "$ref" in schema:
        found: Schema = openapi["components"]["schemas"][schema["$ref"].rsplit("/", 1)[1]]
        return found
    return schema


def _fields(openapi: Schema, schema: Schema, inside: str = "") -> list[Part]:
    """The fields of an object, those of the objects in it under `outer.inner`."""
    parts = []
    for name, field in schema.get("properties", {}).items():
        needed = name in schema.get("required", [])
        parts.append(Part(inside + name, _kind(openapi, field), needed, field.get("description", "")))
        inner = _resolved(openapi, field.get("items", field))
        if inner is not field and inner.get("properties"):
            many = "[]" if "items" in field else ""
            parts += _fields(openapi, inner, f"{inside}{name}{many}.")
    return parts


_KINDS = {
    ("string", "date"): "day, as 2026-12-04",
    ("string", "date-time"): "instant, as 2026-12-04T10:30:00Z",
    ("string", "binary"): "file",
    ("string", ""): "text",
    ("integer", ""): "whole number",
    ("number", ""): "number",
    ("boolean", ""): "true or false",
    ("object", ""): "object",
    ("null", ""): "null",
}


def _kind(openapi: Schema, schema: Schema) -> str:
    """What a value is, in words; a length or range of it beside that."""
    schema = _resolved(openapi, schema)
    if "anyOf" in schema:
        return " or ".join(_kind(openapi, each) for each in schema["anyOf"])
    if "enum" in schema:
        return f"one of {', '.join(map(str, schema['enum']))}"
    kinds: Any = schema.get("type", "object")
    if isinstance(kinds, list):
        return " or ".join(_KINDS[kind, ""] for kind in kinds)
    if kinds == "array":
        return f"list of: {_kind(openapi, schema['items'])}"
    limits = [f"at most {schema[key]}" for key in ("maxLength", "maximum") if key in schema]
    unit = " characters" if "maxLength" in schema else ""
    kind = _KINDS[kinds, schema.get("format", "")]
    return ", ".join([kind, *(limit + unit for limit in limits)])


def _command(method: str, address: str, parameters: list[Schema]) -> str:
    """A curl command without its body. What is particular to a lab stands in the shell's variables."""
    for each in parameters:
        if each["in"] == "path":
            choices = each["schema"].get("enum")
            value = str(choices[0]) if choices else f"${each['name'].upper()}"
            address = address.replace(f"{{{each['name']}}}", value)
    verb = "" if method == "GET" else f"-X {method} "
    return f'curl {verb}"{address}" \\\n  -H "Authorization: Bearer $TOKEN"'


def _sending(ask: str, body: Any) -> str:
    text = _quoted(json.dumps(body, indent=2, ensure_ascii=False))
    return f"{ask} \\\n  -H 'Content-Type: application/json' \\\n  -d {text}"


def _sending_form(ask: str, body: Mapping[str, Any]) -> str:
    """A form: a file by its name, several of one field one by one, anything else as JSON."""
    fields = []
    for name, value in body.items():
        if isinstance(value, dict):
            fields.append(f"--form-string {_quoted(f'{name}={json.dumps(value, ensure_ascii=False)}')}")
        else:
            fields += [f"-F {name}=@{file}" for file in ([value] if isinstance(value, str) else value)]
    return " \\\n  ".join([ask, *fields])


def _quoted(text: str) -> str:
    # The shell puts the pair's code in, as it does in the address: out of the quotes and in again.
    return shlex.quote(text).replace(CODE, "'\"$CODE\"'")

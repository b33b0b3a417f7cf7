"""The OpenAPI 3.1 document, from the table of operations and the messages' own schemas."""

import re
from http import HTTPStatus
from typing import Any

import msgspec

from service.api.contract import OPERATIONS, Operation
from service.feed.events import MEDIA_TYPE, Data, Event
from service.messages import DECIDES, Health, Problem

_REF = "#/components/schemas/{name}"
_PLACE = re.compile(r"\{(\w+)\}")

_PROBLEMS = {
    "400": "The body can't be read.",
    "401": "No valid token.",
    "403": "The token does not open this.",
    "404": "There is nothing here.",
    "409": "It contradicts what is on the books.",
    "413": "The request is too large.",
    "422": "The request is not valid; `errors` point at what is wrong.",
    "503": "Busy or without its database: send the same again after Retry-After.",
}


def document(version: str) -> dict[str, Any]:
    """The whole document."""
    structs = [
        each for operation in OPERATIONS for each in (operation.shown_body or operation.body, operation.reply) if each
    ]
    _, components = msgspec.json.schema_components([*structs, Problem, Health, Event, Data], ref_template=_REF)
    paths: dict[str, Any] = _health()
    for operation in OPERATIONS:
        paths.setdefault(operation.path, {})[operation.method.lower()] = _operation(operation)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Tinebook",
            "version": version,
            "description": f"Cycles of contact retainers, per connector serial and per cavity. {DECIDES}",
        },
        "servers": [{"url": "/"}],
        "security": [{"token": []}],
        "paths": paths,
        "webhooks": {"event": {"post": _call()}},
        "components": {
            "schemas": components,
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
            "responses": {
                status: {"description": text, "content": {"application/problem+json": {"schema": _ref("Problem")}}}
                for status, text in _PROBLEMS.items()
            },
        },
    }


def _operation(operation: Operation) -> dict[str, Any]:
    shown: dict[str, Any] = {
        "operationId": operation.name,
        "summary": operation.summary,
        "description": f"Scopes: {', '.join((*operation.scopes, 'admin'))}.",
        "parameters": [*_path_parameters(operation), *_query_parameters(operation), *_header_parameters(operation)],
        "responses": {
            **{
                str(status): {
                    "description": HTTPStatus(status).phrase,
                    "content": _content(operation),
                }
                for status in operation.statuses
            },
            **{status: {"$ref": f"#/components/responses/{status}"} for status in _PROBLEMS},
        },
    }
    if operation.body is not None:
        content: dict[str, Any] = {"schema": _ref((operation.shown_body or operation.body).__name__)}
        if operation.example is not None:
            content["examples"] = {"example": {"value": operation.example}}
        shown["requestBody"] = {"required": True, "content": {"application/json": content}}
    return shown


def _content(operation: Operation) -> dict[str, Any]:
    """What a reply holds: a message as JSON, or a file, of whose bytes a schema says nothing (OpenAPI 3.1, from memory)."""
    found: dict[str, Any] = {media: {} for media in operation.media}
    if operation.reply is not None:
        found["application/json"] = {"schema": _ref(operation.reply.__name__)}
    return found


def _path_parameters(operation: Operation) -> list[dict[str, Any]]:
    return [
        {"name": name, "in": "path", "required": True, "schema": {"type": "string"}}
        for name in _PLACE.findall(operation.path)
    ]


def _header_parameters(operation: Operation) -> list[dict[str, Any]]:
    if not operation.keyed:
        return []
    text = (
        "A text in quotes that the client makes for this one request: the same again is answered alike for 7 days and done once; "
        "another request under it is refused with 422, one whose first is still being worked on with 409."
    )
    shown = {"name": "Idempotency-Key", "in": "header", "required": False, "description": text}
    return [{**shown, "schema": {"type": "string"}, "example": '"8e03978e-40d5-43e8-bc93-6894a57f9324"'}]


def _query_parameters(operation: Operation) -> list[dict[str, Any]]:
    schema, components = msgspec.json.schema_components([operation.query], ref_template=_REF)
    asked = components[schema[0]["$ref"].rsplit("/", 1)[-1]]
    return [
        {"name": name, "in": "query", "required": name in asked["required"], "schema": _inlined(each, components)}
        for name, each in asked["properties"].items()
    ]


def _inlined(schema: Any, components: dict[str, Any]) -> Any:
    if isinstance(schema, dict):
        if "$ref" in schema:
            return _inlined(components[schema["$ref"].rsplit("/", 1)[-1]], components)
        return {key: _inlined(value, components) for key, value in schema.items()}
    if isinstance(schema, list):
        return [_inlined(each, components) for each in schema]
    return schema


def _call() -> dict[str, Any]:
    """What a receiver of webhooks gets: one event, signed."""
    headers = {
        "webhook-id": "The id of the event, the same at every attempt.",
        "webhook-timestamp": "Seconds since 1970, of this attempt.",
        "webhook-signature": "One signature for each secret in force, by Standard Webhooks.",
    }
    return {
        "operationId": "event",
        "summary": "An event of the feed. Answer 2xx once it is kept; it may come again, with the same id.",
        "security": [],
        "parameters": [
            {"name": name, "in": "header", "required": True, "description": text, "schema": {"type": "string"}}
            for name, text in headers.items()
        ],
        "requestBody": {"required": True, "content": {MEDIA_TYPE: {"schema": _ref("Event")}}},
        "responses": {
            "2XX": {"description": "Kept."},
            "410": {"description": "No more calls are wanted: the webhook is disabled."},
            "default": {"description": "Not kept: the call is made again, not before `Retry-After`."},
        },
    }


def _health() -> dict[str, Any]:
    def get(name: str, summary: str, schema: dict[str, Any], statuses: dict[str, str]) -> dict[str, Any]:
        content = {"application/json": {"schema": schema}}
        responses = {status: {"description": text, "content": content} for status, text in statuses.items()}
        return {"get": {"operationId": name, "summary": summary, "security": [], "responses": responses}}

    health = _ref("Health")
    return {
        "/health/live": get("live", "Whether the program runs.", health, {"200": "It runs."}),
        "/health/ready": get(
            "ready", "Whether it can take work.", health, {"200": "Ready.", "503": "Its database can't be reached."}
        ),
        "/schema/openapi.json": get("openapi", "This document.", {"type": "object"}, {"200": "The document."}),
        "/schema/record.json": get(
            "record_schema", "The schema of a record.", {"type": "object"}, {"200": "The schema."}
        ),
    }


def _ref(name: str) -> dict[str, str]:
    return {"$ref": _REF.format(name=name)}

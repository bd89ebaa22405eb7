"""The OpenAPI document: from the code, with the problems, conditions and keys that every operation shares."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from tracker.http.keys import CHALLENGE
from tracker.http.problems import MEDIA_TYPE
from tracker.http.roles import TABLE

ALWAYS = ("400", "401", "403", "406", "429", "500", "503")
OF_ONE = ("404",)
OF_WRITES = ("409", "413", "415", "422")
OF_CHANGES = ("412", "428")
CONDITIONAL = {"sign", "cancel", "pass_on", "report_stolen", "found_again", "retire"}  # take If-Match
WORDS = {
    "400": "Not understood: body, query string or a header.", "401": "No valid key and no session.",
    "403": "The role or the key's scopes do not allow it.", "404": "Not there, or not for you to see.",
    "406": "Only JSON is spoken.", "409": "Clashes with what stands in the record, or the key is still running.",
    "412": "Changed since it was read.", "413": "Body too large.", "415": "Wrong media type.",
    "422": "A value or rule of the trade stands against it.", "428": "If-Match is missing.",
    "429": "Too many requests; see Retry-After.", "500": "Something broke on our side.",
    "503": "The record cannot be reached; see Retry-After.",
}  # fmt: skip


class FaultShape(serializers.Serializer):
    """One thing wrong at one place."""

    pointer = serializers.CharField(help_text="JSON Pointer (RFC 6901) into the body; '' is all of it.")
    code = serializers.CharField()
    message = serializers.CharField()

    class Meta:
        ref_name = "Fault"


class ProblemShape(serializers.Serializer):
    """Problem details (RFC 9457)."""

    type = serializers.CharField(help_text="Stable relative URI of the kind; it leads to its explanation.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField(help_text="What to do, for a person. Not to be parsed.")
    instance = serializers.CharField()
    request_id = serializers.CharField()
    errors = FaultShape(many=True, required=False)
    facts = serializers.DictField(required=False, help_text="What stands in the way, by name.")

    class Meta:
        ref_name = "Problem"


class ProblemAutoSchema(AutoSchema):
    """Adds what all operations share, so that no view has to say it."""

    def get_override_parameters(self) -> list[OpenApiParameter]:
        """The request headers of writes."""
        if self.method == "POST":
            required = getattr(self.view, "action", "") == "bulk"
            return [_header("Idempotency-Key", "Same key, same body: the first answer again, for 24 h.", required)]
        if self.method == "PATCH":
            return [_header("If-Match", "The ETag of what you read.", required=True)]
        return []

    def _get_response_bodies(self, direction: str = "response") -> dict[str, Any]:
        bodies = super()._get_response_bodies(direction)
        shape = self.resolve_serializer(ProblemShape, "response").ref
        for status in self.problem_statuses():
            bodies.setdefault(status, {"content": {MEDIA_TYPE: {"schema": shape}}, "description": WORDS[status]})
        return dict(sorted(bodies.items()))

    def problem_statuses(self) -> list[str]:
        """Return the statuses of the problems this operation can answer with."""
        statuses = [*ALWAYS]
        if "{" in self.path:
            statuses += OF_ONE
        if self.method in {"POST", "PATCH"}:
            statuses += OF_WRITES
        if self.method == "DELETE":
            statuses += ("409",)
        if self.method == "PATCH" or getattr(self.view, "action", "") in CONDITIONAL:
            statuses += OF_CHANGES
        return statuses

    def get_description(self) -> str:
        """What the step does, and who may take it."""
        words = super().get_description()
        right = TABLE.get(getattr(self.view, "resource", ""), {}).get(getattr(self.view, "action", ""))
        if right is None:
            return words
        scope = f"keys need `{right.scope}`" if right.scope else "not open to keys"
        return f"{words}\n\nRoles: {', '.join(sorted(right.roles))}; {scope}."


def _header(name: str, words: str, required: bool) -> OpenApiParameter:
    return OpenApiParameter(name, str, OpenApiParameter.HEADER, required=required, description=words)


class ApiKeyScheme(OpenApiAuthenticationExtension):
    """How the document names API keys."""

    target_class = "tracker.http.keys.ApiKeyAuthentication"
    name = "ApiKey"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        """An Authorization header of our own scheme."""
        return {"type": "apiKey", "in": "header", "name": "Authorization", "description": f"{CHALLENGE}: Api-Key <key>"}

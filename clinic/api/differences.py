"""How the difference of a version from the one before is shown."""

from rest_framework import serializers

from clinic.api.examples import example
from clinic.rules.differences import PieceKind


class PieceRecord(serializers.Serializer):
    """A stretch of text: kept and removed make up the earlier one, kept and added the later."""

    kind = serializers.ChoiceField(choices=[kind.value for kind in PieceKind])
    text = serializers.CharField()


class ChangeRecord(serializers.Serializer):
    """One member that is not as it was; a side where it was absent is null."""

    pointer = serializers.CharField(help_text="JSON pointer (RFC 6901) into the content's `body`")
    before = serializers.JSONField(allow_null=True)
    after = serializers.JSONField(allow_null=True)
    pieces = PieceRecord(many=True, help_text="Of texts: word by word")


@example(
    {
        "from_version": 1,
        "returned_because": "Which prompts were given?",
        "changes": [
            {
                "pointer": "/plan",
                "before": "Go on.",
                "after": "Go on with a model.",
                "pieces": [
                    {"kind": "kept", "text": "Go"},
                    {"kind": "removed", "text": " on."},
                    {"kind": "added", "text": " on with a model."},
                ],
            }
        ],
    }
)
class DifferenceRecord(serializers.Serializer):
    """What the author changed since the version before, and why that one was returned."""

    from_version = serializers.IntegerField()
    returned_because = serializers.CharField()
    changes = ChangeRecord(many=True)

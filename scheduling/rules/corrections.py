"""What of a misplaced note goes along to where it belongs, and who still reads it where it does not."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any
from uuid import UUID


def moved_body(
    body: Mapping[str, Any], *, participation_id: UUID, measurements: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """What its author wrote, for another part of a visit."""
    return {**body, "participation": str(participation_id), "measurements": list(measurements)}


def moved_measurements(
    measurements: Sequence[Mapping[str, Any]], goals: Mapping[UUID, UUID] | None
) -> list[dict[str, Any]]:
    """The numbers that go along: all within an episode (None), else those of a goal for which another is named.

    A child's number is never guessed to be of another child's goal: somebody says which.
    """
    if goals is None:
        return [dict(raw) for raw in measurements]
    stands_for = {str(was): str(becomes) for was, becomes in goals.items()}
    return [{**raw, "goal": stands_for[raw["goal"]]} for raw in measurements if raw.get("goal") in stands_for]


def is_withheld(*, reader_id: UUID | None, author_id: UUID, said_by_id: UUID, signer_ids: Collection[UUID]) -> bool:
    """Whether what was written of another child is kept from a reader of the chart into which it came by mistake."""
    return reader_id not in {author_id, said_by_id, *signer_ids}

"""What is said of one operation of a batch, by how its own door answered."""

from scheduling.enums import OperationMethod, OperationOutcome

MOST_OPERATIONS = 200
CONFLICTS = frozenset({409, 412, 428})
PASSING = frozenset({429})


def outcome_of(method: str, status: int, replayed: bool, unconditional: bool) -> OperationOutcome:
    """Whether it was done, by this sending or by an earlier one, and what the sender does next.

    A PUT without a precondition that answers 200 found what it would have made.
    """
    if status in CONFLICTS:
        return OperationOutcome.CONFLICT
    if status >= 500 or status in PASSING:
        return OperationOutcome.TRY_AGAIN
    if status >= 400:
        return OperationOutcome.REFUSED
    found = method == OperationMethod.PUT and status == 200 and unconditional
    return OperationOutcome.ALREADY_APPLIED if replayed or found else OperationOutcome.APPLIED

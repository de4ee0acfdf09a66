"""The codes of problems that an application acts on, and what it does then; every other says it in its `detail`."""

WHAT_TO_DO = {
    "invalid_request": "400: `errors` points at each wrong member; the form is wrong, sending it again does not help",
    "invalid_content": "422: `errors` points at each member that the record does not allow, with a code of its own",
    "not_found": "404, or in `errors`: it is not there, or not in this person's reach",
    "precondition_required": "428: fetch it, show the difference, send again with `If-Match` of `current_etag`",
    "precondition_failed": "412: it changed since it was fetched, or this change was made already and only its answer "
    "was lost: compare `current` with `sent` before sending again with `current_etag`",
    "never_queued": "403, in a batch: send it by itself, with a connection; signatures always",
    "rests_on_refused": "409, in a batch: the operation that it comes `after` was not applied",
    "throttled": "429: more requests in a minute than `RateLimit-Policy` allows; wait as `Retry-After` says",
    "feed_restarted": "410: fetch everything anew, and follow `/changes/` from the beginning",
    "idempotency_key_required": "400: signing, co-signing and returning need an `Idempotency-Key`",
    "idempotency_key_reused": "422: this key stood for another request; make a new one",
    "wrong_pin": "403: ask for the PIN again; several misses lock it",
    "pin_locked": "429: wait as `Retry-After` says",
    "no_signing_pin": "409: she sets her PIN first, at `/me/pin/`",
    "role_may_not": "403: another role does this",
    "insufficient_scope": "403: the application was not given this action",
    "booking_overlaps": "409: `collides_with` names what is taken, and when",
    "illegal_step": "409: `allowed_actions` are the steps that a visit of this status takes",
    "visit_not_booked": "409: only a booked visit is moved; of one that has begun, only its staff are put right",
    "visit_over": "409: what was planned for a visit stays once it is over",
    "goal_not_active": "422: only accepted and active goals are planned for; `pointer` names the other one",
    "visit_not_begun": "422: it lies ahead",
    "visit_called_off": "409: reinstate the child's part first",
    "not_own_visit": "403: put her among the visit's `staff` first",
    "note_exists": "409: go on with the note of `existing_id`",
    "not_editable": "409: what is signed is returned by the supervisor, or amended once it is final",
    "not_final": "409: only a final note is amended",
    "version_changed": "409: a newer version was signed, or this one is not open: fetch it, read it, send its digest",
    "not_opened": "409: fetch the version first: nobody co-signs what she has not been shown",
    "flagged_since_opened": "409: something was flagged since she fetched it: fetch it again, read the flags",
    "already_decided": "409: somebody co-signed or returned this version meanwhile; fetch it",
    "already_corrected": "409: another addendum corrected this measurement; name that one in `replaces`",
    "act_not_allowed": "409: `allowed_actions` of the goal says what its status takes",
}


def table() -> str:
    """The codes as a table for the description of the service."""
    rows = [f"| `{code}` | {told} |" for code, told in WHAT_TO_DO.items()]
    return "\n".join(["| code | status and what to do |", "|---|---|", *rows])

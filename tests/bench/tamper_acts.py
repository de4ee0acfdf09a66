"""What the attacker does, one act at a time, in SQL alone; each says where the check should point first."""

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from clinic.rules import merkle
from clinic.selectors.sealing import SealedTable, sealed_tables, spell_alike
from tests.architecture.world import run

KINDS = {
    "bigint": 'COALESCE("{0}", 0) + 1',
    "integer": 'COALESCE("{0}", 0) + 1',
    "smallint": 'COALESCE("{0}", 0) + 1',
    "numeric": 'COALESCE("{0}", 0) + 0.0001',
    "double precision": 'COALESCE("{0}", 0) + 0.001',
    "boolean": 'NOT COALESCE("{0}", false)',
    "bytea": """COALESCE("{0}", '') || '\\x00'""",
    "character varying": """CASE WHEN "{0}" = 'x' THEN 'y' ELSE 'x' END""",
    "date": """COALESCE("{0}", '2026-04-04') + 1""",
    "inet": """COALESCE("{0}", '192.0.2.7') + 1""",
    "jsonb": """jsonb_build_array("{0}")""",
    "timestamp with time zone": """COALESCE("{0}", '2026-04-04 10:00Z') + interval '1 microsecond'""",
    "uuid": "gen_random_uuid()",
    "ARRAY of _text": """COALESCE("{0}", '{{}}') || 'x'::text""",
    "ARRAY of _uuid": """COALESCE("{0}", '{{}}') || gen_random_uuid()""",
    "ARRAY of _varchar": """COALESCE("{0}", '{{}}') || 'x'::varchar""",
}
COLUMNS = """
SELECT column_name, data_type || CASE data_type WHEN 'ARRAY' THEN ' of ' || udt_name ELSE '' END
FROM information_schema.columns WHERE table_name = %s AND is_generated = 'NEVER' ORDER BY 1"""
REFUSERS = """
SELECT c.conname FROM pg_constraint c WHERE c.conrelid = %s::regclass AND c.contype IN ('c', 'f', 'u', 'x')"""


@dataclass(frozen=True)
class Place:
    """Where something was done: the ordinal of an entry, the number of a seal, or the id of a row."""

    ordinal: int | None = None
    seal: int | None = None
    row_id: Any = None


Attack = Callable[[random.Random], Place]


def put_guards_to_sleep() -> None:
    run("SET LOCAL session_replication_role = replica")


def take_constraints_away() -> None:
    """Whoever owns the tables can; only the keys by which rows are found are left."""
    for kind in sealed_tables():
        for (name,) in run(REFUSERS, [kind]):
            if run("SELECT 1 FROM pg_constraint WHERE conrelid = %s::regclass AND conname = %s", [kind, name]):
                run(f'ALTER TABLE {kind} DROP CONSTRAINT "{name}" CASCADE')
        for (name,) in run(
            "SELECT i.indexrelid::regclass::text FROM pg_index i "
            "WHERE i.indrelid = %s::regclass AND i.indisunique AND NOT i.indisprimary",
            [kind],
        ):
            run(f"DROP INDEX {name}")


@dataclass(frozen=True)
class Entry:
    ordinal: int
    seal: int
    kind: str
    row_id: Any

    @property
    def table(self) -> SealedTable:
        return sealed_tables()[self.kind]

    @property
    def where(self) -> str:
        return f"""{self.table.key.replace("t.", "")} = '{self.row_id}'"""


def any_entry(dice: random.Random, *, kinds: list[str] | None = None) -> Entry:
    """Any table first, so that each has its turn, then any of its rows."""
    present = [kind for (kind,) in run("SELECT DISTINCT kind FROM clinic_sealentry ORDER BY 1")]
    kind = dice.choice(kinds or present)
    found = run("SELECT ordinal, seal_id, kind, row_id FROM clinic_sealentry WHERE kind = %s ORDER BY 1", [kind])
    return Entry(*dice.choice(found))


# --- Changes -------------------------------------------------------------------------------------------


def change(dice: random.Random) -> Place:
    """One column of one row, whichever."""
    entry = any_entry(dice)
    columns = [(name, kind) for name, kind in run(COLUMNS, [entry.kind]) if name != entry.table.trigger.key]
    name, kind = dice.choice(columns)
    run(f'UPDATE {entry.kind} SET "{name}" = {KINDS[kind].format(name)} WHERE {entry.where}')
    return Place(ordinal=entry.ordinal)


def change_and_mend(dice: random.Random) -> Place:
    """The same, and then the row's leaf and its seal's root are made to fit; no key is needed for these."""
    place = change(dice)
    mend_leaf(place.ordinal)
    return place


def change_a_seal(dice: random.Random) -> Place:
    """Something that a seal says."""
    ((number, first),) = run("SELECT number, first FROM clinic_seal ORDER BY random() LIMIT 1")
    what = dice.choice(
        ["at = at - interval '1 day'", "root = repeat('0', 64)", "count = count + 1", "caught_up = NOT caught_up"]
    )
    run(f"UPDATE clinic_seal SET {what} WHERE number = %s", [number])
    return Place(seal=number, ordinal=first)


def mend_leaf(ordinal: int | None) -> None:
    spell_alike()
    ((kind, row_id, seal),) = run("SELECT kind, row_id, seal_id FROM clinic_sealentry WHERE ordinal = %s", [ordinal])
    table = sealed_tables()[kind]
    ((leaf,),) = run(f"SELECT {table.leaf} FROM {kind} t WHERE {table.key} = %s", [row_id])
    run("UPDATE clinic_sealentry SET leaf = %s WHERE ordinal = %s", [bytes(leaf), ordinal])
    mend_root(seal)


def mend_root(seal: int) -> None:
    leaves = [
        bytes(leaf) for (leaf,) in run("SELECT leaf FROM clinic_sealentry WHERE seal_id = %s ORDER BY ordinal", [seal])
    ]
    run(
        "UPDATE clinic_seal SET root = %s, count = %s WHERE number = %s",
        [merkle.root_of(leaves).hex(), len(leaves), seal],
    )


# --- Deletions -----------------------------------------------------------------------------------------


def delete(dice: random.Random) -> Place:
    """One row."""
    entry = any_entry(dice)
    run(f"DELETE FROM {entry.kind} WHERE {entry.where}")
    return Place(ordinal=entry.ordinal)


def delete_and_mend(dice: random.Random) -> Place:
    """One row with its entry; the entries after it close up, and the seals count and hash what is left."""
    place = delete(dice)
    ((seal,),) = run("SELECT seal_id FROM clinic_sealentry WHERE ordinal = %s", [place.ordinal])
    run("DELETE FROM clinic_sealentry WHERE ordinal = %s", [place.ordinal])
    run("UPDATE clinic_sealentry SET ordinal = ordinal + 1000000 WHERE ordinal > %s", [place.ordinal])
    run("UPDATE clinic_sealentry SET ordinal = ordinal - 1000001 WHERE ordinal > 1000000")
    run("UPDATE clinic_seal SET first = first - 1 WHERE number > %s", [seal])
    if run("SELECT 1 FROM clinic_sealentry WHERE seal_id = %s LIMIT 1", [seal]):
        mend_root(seal)
    return Place(ordinal=place.ordinal, seal=seal)


# --- Swaps ---------------------------------------------------------------------------------------------


def swap(dice: random.Random) -> Place:
    """Two rows of one table trade places: what one said, the other says."""
    one = any_entry(
        dice, kinds=[kind for (kind,) in run("SELECT kind FROM clinic_sealentry GROUP BY 1 HAVING count(*) > 1")]
    )
    other = one
    while other.row_id == one.row_id:
        other = any_entry(dice, kinds=[one.kind])
    key = one.table.trigger.key
    first, second = ((run(f'SELECT "{key}" FROM {e.kind} WHERE {e.where}')[0][0]) for e in (one, other))
    spare = -1 if key == "seq" else "00000000-0000-0000-0000-000000000001"
    for before, after in ((first, spare), (second, first), (spare, second)):
        run(f'UPDATE {one.kind} SET "{key}" = %s WHERE "{key}" = %s', [after, before])
    return Place(ordinal=min(one.ordinal, other.ordinal))


def swap_and_mend(dice: random.Random) -> Place:
    """Two entries trade places under one seal, whose root is made to fit."""
    seals = [seal for (seal,) in run("SELECT number FROM clinic_seal WHERE count > 1")]
    seal = dice.choice(seals)
    ordinals = [at for (at,) in run("SELECT ordinal FROM clinic_sealentry WHERE seal_id = %s", [seal])]
    first, second = sorted(dice.sample(ordinals, 2))
    for before, after in ((first, 2**40), (second, first), (2**40, second)):
        run("UPDATE clinic_sealentry SET ordinal = %s WHERE ordinal = %s", [after, before])
    mend_root(seal)
    return Place(ordinal=first)


# --- Insertions ----------------------------------------------------------------------------------------


def copy_of(entry: Entry, **over: str) -> Any:
    """A row like this one under a new name."""
    key = entry.table.trigger.key
    new = "(SELECT max(seq) + 1 FROM clinic_changefeed)" if key == "seq" else "gen_random_uuid()"
    names = [name for name, _ in run(COLUMNS, [entry.kind])]
    values = ", ".join({key: new, **over}.get(name, f'"{name}"') for name in names)
    listed = ", ".join(f'"{name}"' for name in names)
    ((made,),) = run(
        f"INSERT INTO {entry.kind} ({listed}) SELECT {values} FROM {entry.kind} WHERE {entry.where} "
        f'RETURNING seal_key("{key}")'
    )
    return made


def insert(dice: random.Random) -> Place:
    """A row of which no seal knows."""
    return Place(row_id=copy_of(any_entry(dice)))


def insert_and_mend(dice: random.Random) -> Place:
    """A row with an entry at the end of the last seal, which counts and hashes it."""
    entry = any_entry(dice)
    made = copy_of(entry)
    ((last, seal),) = run("SELECT max(ordinal) + 1, max(seal_id) FROM clinic_sealentry")
    run(
        "INSERT INTO clinic_sealentry (ordinal, seal_id, kind, row_id, leaf, mac) "
        "SELECT %s, %s, kind, %s, leaf, mac FROM clinic_sealentry WHERE ordinal = %s",
        [last, seal, made, entry.ordinal],
    )
    mend_leaf(last)
    return Place(ordinal=last, seal=seal)


def ask_for_seal(entry: Entry, row_id: Any) -> Place:
    run("INSERT INTO clinic_unsealed (kind, row_id) VALUES (%s, %s)", [entry.kind, row_id])
    return Place(row_id=row_id)


def insert_into_the_past(dice: random.Random) -> Place:
    """A row of a day that was sealed long ago; it asks for its seal, and the running service sets one."""
    entry = any_entry(dice, kinds=[kind for kind, table in sealed_tables().items() if table.trigger.told_at and run(
        "SELECT 1 FROM clinic_sealentry WHERE kind = %s LIMIT 1", [kind])])  # fmt: skip
    told_at = entry.table.trigger.told_at
    return ask_for_seal(entry, copy_of(entry, **{told_at: "'2026-03-06 15:00Z'::timestamptz"}))


def insert_a_present_event(dice: random.Random) -> Place:
    """An event of this minute; it asks for its seal, and the running service sets one."""
    entry = any_entry(dice, kinds=["clinic_auditevent"])
    return ask_for_seal(entry, copy_of(entry, at="'2026-12-01 10:00Z'::timestamptz"))


def insert_a_present_signature(dice: random.Random) -> Place:
    """A signature or a verdict of this minute; it asks for its seal, and the running service sets one."""
    kind, told_at = dice.choice([("clinic_signature", "signed_at"), ("clinic_verdict", "at")])
    entry = any_entry(dice, kinds=[kind])
    return ask_for_seal(entry, copy_of(entry, **{told_at: "'2026-12-01 10:00Z'::timestamptz"}))


# --- Tail cuts -----------------------------------------------------------------------------------------


def cut_tail(dice: random.Random) -> Place:
    """The last seals with their entries and every row under them, as if those days had never been."""
    ((last,),) = run("SELECT max(number) FROM clinic_seal")
    seal = dice.randint(max(2, last - 9), last)
    for kind, table in sealed_tables().items():
        run(
            f"DELETE FROM {kind} t USING clinic_sealentry e WHERE e.kind = %s AND e.seal_id >= %s "
            f"AND e.row_id = {table.key}",
            [kind, seal],
        )
    forget(seal)
    return Place(seal=seal)


def unseal_tail(dice: random.Random) -> Place:
    """The last seals with their entries; their rows ask anew, to be sealed as the attacker leaves them."""
    ((last,),) = run("SELECT max(number) FROM clinic_seal")
    seal = dice.randint(max(2, last - 9), last)
    run(
        "INSERT INTO clinic_unsealed (kind, row_id) SELECT kind, row_id FROM clinic_sealentry WHERE seal_id >= %s",
        [seal],
    )
    forget(seal)
    return Place(seal=seal)


def forget(seal: int) -> None:
    run("DELETE FROM clinic_sealentry WHERE seal_id >= %s", [seal])
    run("DELETE FROM clinic_seal WHERE number >= %s", [seal])


ATTACKS: dict[str, list[Attack]] = {
    "changes": [change, change_and_mend, change, change_and_mend, change_a_seal],
    "deletions": [delete, delete_and_mend],
    "swaps": [swap, swap_and_mend],
    "insertions": [
        insert,
        insert_and_mend,
        insert_into_the_past,
        insert_a_present_event,
        insert_a_present_signature,
    ],
    "tail cuts": [cut_tail, unseal_tail],
}
SEALED_BY_THE_SERVICE = {insert_into_the_past, insert_a_present_event, insert_a_present_signature}

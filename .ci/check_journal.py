#!/usr/bin/env python3
"""Checks the journal of a Carryside database (a SQLite file) with nothing but Python's standard library.

written from sections 9 and 10 of DEVELOPERS.md alone, so that the page is shown to be enough. Prints one line for each
chain, as `carryside verify` does, and ends with 1 at the first thing that does not fit.

    python3 check_journal.py carryside.db
"""

import hashlib
import json
import sqlite3
import struct
import sys

UNPROTECTED = {"api_token_uses", "chains", "device_contacts", "goose_db_version", "id_counters", "idempotency_keys", "job_runs", "journal_entries", "journal_rows",
               "meta", "number_blocks", "passkey_uses", "plan_drafts", "rule_progress", "second_factor_uses", "sessions", "sign_up_codes"}
PRIVATE = {"accounts": ("sign_in_key", "sign_in_name"), "contacts": ("email", "phone"), "people": ("name", "name_key")}
ENTRY = ("action", "at", "chain_id", "changes", "clock_at", "customer_id", "leaf_count", "origin", "person_id",
         "plant_id", "position", "reason", "rows_root")


class Broken(Exception):
    """Something does not fit."""


def sha(data):
    return hashlib.sha256(data).digest()


def number(f):
    """A number as ECMAScript writes it."""
    if f == 0:
        return "0"
    sign, digits, exponent = ("-" if f < 0 else ""), *decimal(abs(f))
    n = len(digits) + exponent  # where the point stands
    if len(digits) <= n <= 21:
        body = digits + "0" * (n - len(digits))
    elif 0 < n <= 21:
        body = digits[:n] + "." + digits[n:]
    elif -6 < n <= 0:
        body = "0." + "0" * -n + digits
    else:
        e = n - 1
        body = digits[0] + ("." + digits[1:] if len(digits) > 1 else "") + "e" + ("+" if e > 0 else "-") + str(abs(e))
    return sign + body


def decimal(f):
    """The shortest digits of a number and the power of ten behind them."""
    mantissa, _, exponent = repr(f).partition("e")
    whole, _, part = mantissa.partition(".")
    if part == "0":
        part = ""
    digits = (whole + part).lstrip("0")
    power = int(exponent or 0) - len(part)
    stripped = digits.rstrip("0")
    return stripped, power + len(digits) - len(stripped)


def canonical(value, boolean=False):
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, bytes):
        return '"sha256:' + sha(value).hex() + '"'
    if isinstance(value, float):
        return number(value)
    if boolean and value in (0, 1):
        return "true" if value else "false"
    return str(value)


def members(pairs):
    return "{" + ",".join(canonical(k) + ":" + v for k, v in sorted(pairs)) + "}"


def root(leaves):
    """The root of RFC 9162, section 2.1.1, over leaves that are hashed already."""
    full = []
    for count, leaf in enumerate(leaves, 1):
        full.append(leaf)
        while count % 2 == 0:
            right = full.pop()
            full[-1] = sha(b"\x01" + full[-1] + right)
            count //= 2
    if not full:
        return sha(b"").hex()
    right = full.pop()
    while full:
        right = sha(b"\x01" + full.pop() + right)
    return right.hex()


class Table:
    def __init__(self, db, name):
        self.name = name
        info = db.execute('SELECT name, type, pk FROM pragma_table_info(?)', (name,)).fetchall()
        self.columns = [(c, t.upper() == "BOOLEAN") for c, t, _ in info]
        self.key = tuple(c for c, _, pk in sorted(info, key=lambda column: column[2]) if pk)
        self.private = PRIVATE.get(name, ())

    def leaf(self, row):
        pairs = [(c, canonical(row[c], b)) for c, b in self.columns
                 if row[c] is not None and c != "known_to" and c != "private_salt" and c not in self.private]
        return sha(b"\x00" + f'{{"row":{members(pairs)},"table":"{self.name}"}}'.encode())

    def ended(self, key):
        pairs = [(c, str(k)) for c, k in zip(self.key, key)]
        return sha(b"\x00" + f'{{"ended":{members(pairs)},"table":"{self.name}"}}'.encode())

    def check_private(self, row):
        if not self.private:
            return
        if row["private_hash"] == "erased":
            if any(row[c] not in ("", f"erased person {row['id']}") for c in self.private):
                raise Broken(f"{self.name} {row['id']}: erased, and there is something")
            return
        data = row["private_salt"] + "\n" + members([(c, canonical(row[c])) for c in self.private])
        if sha(data.encode()).hex() != row["private_hash"]:
            raise Broken(f"{self.name} {row['id']}: personal data were changed")


def check(path):
    db = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    db.row_factory = sqlite3.Row
    names = [n for n, in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")]
    tables = {n: Table(db, n) for n in names if n not in UNPROTECTED}
    written, ended = {}, {}
    for chain in db.execute("SELECT * FROM chains ORDER BY id").fetchall():
        check_chain(db, chain, tables, written, ended)
    if db.execute("SELECT count(*) FROM journal_entries WHERE chain_id NOT IN (SELECT id FROM chains)").fetchone()[0]:
        raise Broken("entries of a chain that is not there")
    check_rows(db, tables, written, ended)


def check_chain(db, chain, tables, written, ended):
    prev, position, at = "0" * 64, 0, 0
    for entry in db.execute("SELECT * FROM journal_entries WHERE chain_id = ? ORDER BY position", (chain["id"],)).fetchall():
        name = f"entry {entry['position']} of chain {chain['id']}"
        pairs = [(m, canonical(chain[m] if m == "customer_id" else entry[m])) for m in ENTRY]
        if entry["position"] != position + 1 or entry["prev_hash"] != prev or entry["at"] < at:
            raise Broken(f"{name} does not follow the one before")
        if sha((prev + "\n" + members(pairs)).encode()).hex() != entry["hash"]:
            raise Broken(f"{name} was changed")
        leaves = entry_leaves(db, entry, tables, written, ended)
        if len(leaves) != entry["leaf_count"] or root(leaves) != entry["rows_root"]:
            raise Broken(f"{name} does not fit what is kept of its rows")
        prev, position, at = entry["hash"], entry["position"], entry["at"]
    if (chain["head_position"], chain["head_hash"], chain["head_at"]) != (position, prev, at):
        raise Broken(f"chain {chain['id']} does not end where it says")
    print(f"chain {chain['id']} entry {position} {prev}")


def entry_leaves(db, entry, tables, written, ended):
    leaves = []
    parts = db.execute("SELECT table_name, kind, leaves FROM journal_rows WHERE chain_id = ? AND position = ? ORDER BY part",
                       (entry["chain_id"], entry["position"]))
    for name, kind, records in parts:
        table = tables[name]
        for record in struct.iter_unpack(f">{len(table.key)}q32s", records):
            key, leaf = record[:-1], record[-1]
            if kind == "written":
                written[name, key] = leaf
            elif leaf != table.ended(key):
                raise Broken(f"an ended row of {name} has a strange leaf")
            else:
                ended[name, key] = entry["position"]
            leaves.append(leaf)
    return leaves


def check_rows(db, tables, written, ended):
    seen = set()
    for name, table in tables.items():
        for row in db.execute(f"SELECT * FROM {name}"):
            key = tuple(row[c] for c in table.key)
            if (name, key) not in written:
                raise Broken(f"{name} {key} stands in no entry")
            if table.leaf(row) != written[name, key]:
                raise Broken(f"{name} {key} was changed")
            if "known_to" in row.keys() and row["known_to"] != ended.get((name, key)):
                raise Broken(f"{name} {key} was not ended as the journal says")
            table.check_private(row)
            seen.add((name, key))
    missing = written.keys() - seen
    if missing:
        raise Broken(f"{sorted(missing)[0]} is missing")
    print(f"{len(seen)} rows fit")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: check_journal.py FILE")
    try:
        check(sys.argv[1])
    except (Broken, sqlite3.Error, KeyError, struct.error, UnicodeError) as problem:
        sys.exit(f"broken: {problem}")

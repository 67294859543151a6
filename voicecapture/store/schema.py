"""The tables, and how an older file becomes a newer one."""

import hashlib
from contextlib import closing

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

from voicecapture.plain_text import shown

SCHEMA = Migrations("voicecapture")


def altered_part(db: Database) -> str | None:
    """A table or view that is missing or not what the program made, or a rule that it did not make; None if none is.

    A rule that is missing is no reason to keep the record from who needs it: what was changed then shows at the
    signature. Tables and views that others added are no matter.
    """
    with closing(Database(memory=True)) as ours:
        SCHEMA.apply(ours, stop_before={migration.name for migration in SCHEMA.pending(db)})
        expected, found = _parts(ours), _parts(db)
    names = [key for key in (expected if SCHEMA.applied(db) else ()) if key[0] in ("table", "view")]
    names += [key for key in found if key[0] == "trigger"]
    wrong = [name for kind, name in names if found.get((kind, name)) != expected.get((kind, name))]
    return shown(min(wrong)) if wrong else None


def _parts(db: Database) -> dict[tuple[str, str], str]:
    query = "select type, name, sql from sqlite_master where sql is not null and name not like '%sqlite_%'"
    return {(row["type"], row["name"]): row["sql"] for row in db.query(query)}


@SCHEMA()
def first_tables(db: Database) -> None:
    """Days, herd lists, utterances and events, and the views on what counts now."""
    kinds = "'accepted', 'question', 'ignored', 'taken_back', 'command', 'note'"
    for statement in (
        """create table day (id integer primary key, started_at text not null, scanned_on text not null,
            scan_kind text not null, herd_file text not null, source text not null, program_version text not null
        ) strict""",
        """create table animal (day_id integer not null references day, position integer not null, cow text not null,
            electronic_id text, breed text, mated_on text, primary key (day_id, cow)) strict""",
        """create table utterance (day_id integer not null references day, number integer not null,
            start_s real not null, end_s real not null, heard text not null, strangeness real, snr_db real,
            clip text not null, primary key (day_id, number)) strict, without rowid""",
        f"""create table event (id integer primary key, day_id integer not null references day,
            number integer not null, kind text not null check (kind in ({kinds})), at_s real not null,
            utterance integer, cow text, result text, days integer, twins integer not null,
            findings text not null, recheck_weeks integer, stage text, reason text not null, probability real,
            candidates text not null, replaces integer, answers integer, heard text not null,
            recorded_at text not null, unique (day_id, number)) strict""",
        """create view current_result as
            select day_id, cow, result, days, twins, findings, recheck_weeks, stage, number as event, at_s
            from event e where kind = 'accepted' and not exists (
                select 1 from event later where later.day_id = e.day_id and later.number > e.number
                and ((later.replaces = e.number and later.kind <> 'question')
                    or (later.kind = 'accepted' and later.cow = e.cow)))""",
        """create view open_question as
            select day_id, number as event, at_s, cow, heard, reason, candidates
            from event e where kind = 'question' and not exists (
                select 1 from event later where later.day_id = e.day_id and later.number > e.number
                and later.answers = e.number)""",
        *(
            f"""create trigger {table}_no_{verb} before {verb} on {table}
            begin select raise(abort, 'the record is only ever added to'); end"""
            for table in ("event", "utterance")
            for verb in ("update", "delete")
        ),
        # "insert or replace" deletes the old row without its delete trigger, unless the writer asks for that.
        *(
            f"""create trigger {table}_no_replace before insert on {table}
            when exists (select 1 from {table} where {is_same})
            begin select raise(abort, 'the record is only ever added to'); end"""
            for table, is_same in (
                ("event", "id = new.id or (day_id = new.day_id and number = new.number)"),
                ("utterance", "day_id = new.day_id and number = new.number"),
            )
        ),
    ):
        db.execute(statement)


@SCHEMA()
def seasons(db: Database) -> None:
    """Days with a name of their own and a vet, the farm's lists, signatures and amendments, and the season's view."""
    for statement in (
        "alter table day add column name text",
        "alter table day add column vet text not null default ''",
        "alter table animal add column born_on text",
        "alter table animal add column calved_on text",
        "alter table animal add column eligible integer",
        "alter table event add column crown_rump_mm integer",
        "alter table event add column by_whom text not null default ''",
        """create table farm_list (id integer primary key, kind text not null check (kind in ('herd', 'matings')),
            file text not null, text text not null, added_at text not null) strict""",
        """create table mating_start (id integer primary key, first_on text not null,
            added_at text not null) strict""",
        """create table signature (day_id integer primary key references day, vet text not null,
            signed_at text not null, events integer not null, open_questions integer not null,
            digest text not null) strict""",
        "create index event_of_cow on event (cow)",
        "create index event_replacing on event (day_id, replaces)",
        "drop view current_result",
        """create view current_result as
            select day_id, cow, result, days, crown_rump_mm, twins, findings, recheck_weeks, stage,
                number as event, at_s, recorded_at, by_whom
            from event e where kind = 'accepted'
            and not exists (select 1 from event later where later.day_id = e.day_id and later.number > e.number
                and later.replaces = e.number and later.kind <> 'question')
            and not exists (select 1 from event later where later.day_id = e.day_id and later.number > e.number
                and later.kind = 'accepted' and later.cow = e.cow)""",
        """create view season_result as
            select cow, result, days, crown_rump_mm, twins, findings, recheck_weeks, stage, scanned_on, vet, day
            from (select r.*, d.scanned_on, d.vet, d.name as day, row_number() over (partition by cow
                order by d.scanned_on desc, r.recorded_at desc, d.name desc) as place
                from current_result r join day d on d.id = r.day_id) where place = 1""",
        """create view not_seen as
            select distinct cow from animal where cow not in (select cow from current_result)""",
        # What is signed may only be amended, by somebody who is named.
        """create trigger event_after_signature before insert on event
            when new.by_whom = '' and exists (select 1 from signature where day_id = new.day_id)
            begin select raise(abort, 'the day is signed'); end""",
        *(
            f"""create trigger {table}_no_{verb} before {verb} on {table}
            begin select raise(abort, 'the record is only ever added to'); end"""
            for table in ("farm_list", "mating_start", "signature")
            for verb in ("update", "delete")
        ),
    ):
        db.execute(statement)
    for day in list(db.query("select id, started_at, scanned_on, source from day")):
        # Two copies of an older file give their days the same names.
        name = hashlib.sha256(f"{day['started_at']} {day['scanned_on']} {day['source']}".encode()).hexdigest()[:32]
        db.execute("update day set name = ? where id = ?", [name, day["id"]])
    db.execute("create unique index day_name on day (name)")
    for verb in ("update", "delete"):
        db.execute(
            f"""create trigger day_no_{verb} before {verb} on day
            begin select raise(abort, 'the record is only ever added to'); end"""
        )


@SCHEMA()
def results_of_the_season(db: Database) -> None:
    """The season's view without findings alone, and with in calf and empty on one day as a recheck."""
    for statement in (
        "drop view season_result",
        "drop view not_seen",
        """create view season_result as
            with told as (select r.*, d.scanned_on, d.vet, d.name as day
                from current_result r join day d on d.id = r.day_id where r.result is not null)
            select cow, case when exists (select 1 from told a join told b using (cow, scanned_on)
                    where a.cow = ranked.cow and a.scanned_on = ranked.scanned_on
                    and a.result = 'pregnant' and b.result = 'empty') then 'recheck' else result end as result,
                days, crown_rump_mm, twins, findings, recheck_weeks, stage, scanned_on, vet, day
            from (select *, row_number() over (partition by cow
                order by scanned_on desc, recorded_at desc, day desc) as place from told) ranked where place = 1""",
        """create view not_seen as select distinct cow from animal
            where cow not in (select cow from current_result where result is not null)""",
    ):
        db.execute(statement)


@SCHEMA()
def voice_checks(db: Database) -> None:
    """The voice checks made before a day."""
    verdicts = "'fit to use', 'use with care', 'do not rely on it today'"
    db.execute(
        f"""create table voice_check (id integer primary key, day_id integer not null references day,
            checked_at text not null, lines integer not null, heard_right integer not null, taken integer not null,
            taken_wrong integer not null, passed_over integer not null, snr_db real,
            verdict text not null check (verdict in ({verdicts})), said text not null) strict"""
    )
    for verb in ("update", "delete"):
        db.execute(
            f"""create trigger voice_check_no_{verb} before {verb} on voice_check
            begin select raise(abort, 'the record is only ever added to'); end"""
        )


@SCHEMA()
def endings(db: Database) -> None:
    """When a day was ended; a day without an ending was cut off, and can go on."""
    db.execute(
        """create table ending (id integer primary key, day_id integer not null references day,
            ended_at text not null) strict"""
    )
    for verb in ("update", "delete"):
        db.execute(
            f"""create trigger ending_no_{verb} before {verb} on ending
            begin select raise(abort, 'the record is only ever added to'); end"""
        )
    # Which of the older days were cut off is not known; none of them goes on.
    db.execute("insert into ending (day_id, ended_at) select id, started_at from day")

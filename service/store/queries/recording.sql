-- The write path: one transaction locks the heads it needs, folds in Python, appends and updates set-based.

-- name: connectors_by_keys
-- Which connectors do these look-up keys mean?
select m.key, m.connector, c.serial, c.cage, c.part_number
from tinebook.mark as m
join tinebook.connector as c on c.connector = m.connector
where m.key = any($1::text[]);

-- name: lock_heads
-- The heads of these connectors, locked in one global order so that two batches can't wait for each other.
select h.connector, h.entries, h.hash, h.definition, h.state, h.bench, h.handed_over
from tinebook.head as h
where h.connector = any($1::uuid[])
order by h.connector
for update;

-- name: heads
-- The heads of these connectors, for reading.
select h.connector, h.entries, h.hash, h.definition, h.state, h.bench, h.handed_over
from tinebook.head as h
where h.connector = any($1::uuid[]);

-- name: definitions
-- These definitions, by connector and number.
select d.connector, d.number, d.body
from unnest($1::uuid[], $2::integer[]) as wanted (connector, number)
join tinebook.definition as d on d.connector = wanted.connector and d.number = wanted.number;

-- name: receipts
-- What was accepted under these ids before, and which of them are still parked?
select r.id, r.digest, p.id is not null and p.joined is null as parked
from tinebook.receipt as r
left join tinebook.parked as p on p.id = r.id
where r.id = any($1::uuid[]);

-- name: history
-- The history of a connector for a refold: of these cavities and of what names no single one, or of everything if null.
select e.number, e.body
from tinebook.entry as e
where e.connector = $1::uuid
  and ($2::text[] is null or e.cavity is null or e.cavity = any($2::text[]))
order by e.number;

-- name: append_entries
-- Append to the ledger.
insert into tinebook.entry (connector, number, id, kind, cavity, performed_at, recorded_at, body, hash)
select connector, number, id, kind, cavity, performed_at, recorded_at, body, hash
from unnest($1::uuid[], $2::integer[], $3::uuid[], $4::text[], $5::text[], $6::timestamptz[], $7::timestamptz[],
            $8::bytea[], $9::bytea[])
    as news (connector, number, id, kind, cavity, performed_at, recorded_at, body, hash);

-- name: append_receipts
-- Keep the ids that are accepted in this transaction.
insert into tinebook.receipt (id, connector, digest)
select id, connector, digest
from unnest($1::uuid[], $2::uuid[], $3::bytea[]) as news (id, connector, digest);

-- name: move_heads
-- Move the heads of the connectors that this transaction appended to.
update tinebook.head as h
set entries = news.entries, hash = news.hash, state = news.state, asset = news.asset, zone = news.zone, "position" = news.place,
    bench = news.bench
from unnest($1::uuid[], $2::integer[], $3::bytea[], $4::bytea[], $5::text[], $6::text[], $7::text[], $8::text[])
    as news (connector, entries, hash, state, asset, zone, place, bench)
where h.connector = news.connector;

-- name: drop_limit_lines
-- Take connectors off the fleet's list: they are within their rating.
delete from tinebook.limit_line as l
where l.connector = any($1::uuid[]);

-- name: put_limit_lines
-- Put connectors on the fleet's list, or move them on it.
insert into tinebook.limit_line (connector, rank, urgency, wear, limiting_cavity, cycles_begun, rating, rating_verified,
                                 remaining, worn_cavities, unknown_cavities, asset, zone, "position", family, part_number,
                                 bench)
select connector, rank, urgency, wear, limiting_cavity, cycles_begun, rating, rating_verified, remaining, worn_cavities,
       unknown_cavities, asset, zone, place, family, part_number, bench
from unnest($1::uuid[], $2::smallint[], $3::integer[], $4::text[], $5::text[], $6::integer[], $7::integer[],
            $8::boolean[], $9::integer[], $10::integer[], $11::integer[], $12::text[], $13::text[], $14::text[], $15::text[],
            $16::text[], $17::text[])
    as news (connector, rank, urgency, wear, limiting_cavity, cycles_begun, rating, rating_verified, remaining,
             worn_cavities, unknown_cavities, asset, zone, place, family, part_number, bench)
on conflict on constraint limit_line_key do update
set rank = excluded.rank, urgency = excluded.urgency, wear = excluded.wear, limiting_cavity = excluded.limiting_cavity,
    cycles_begun = excluded.cycles_begun, rating = excluded.rating, rating_verified = excluded.rating_verified,
    remaining = excluded.remaining, worn_cavities = excluded.worn_cavities, unknown_cavities = excluded.unknown_cavities,
    asset = excluded.asset, zone = excluded.zone, "position" = excluded."position", family = excluded.family,
    part_number = excluded.part_number, bench = excluded.bench;

-- name: lock_parking_shared
-- While this is held no connector is being registered, so what is parked now can't miss its connector.
select pg_advisory_xact_lock_shared(7460001);

-- name: lock_parking
-- While this is held nothing is being parked, so a registration sees all entries that wait for it.
select pg_advisory_xact_lock(7460001);

-- name: park
-- Keep entries whose connector is not known.
insert into tinebook.parked (id, mark, reason, recorded_at, digest, body)
select id, mark, reason, recorded_at, digest, body
from unnest($1::uuid[], $2::text[], $3::text[], $4::timestamptz[], $5::bytea[], $6::bytea[])
    as news (id, mark, reason, recorded_at, digest, body);

-- name: park_marks
-- Keep the look-up keys of parked entries.
insert into tinebook.parked_mark (key, id)
select key, id from unnest($1::text[], $2::uuid[]) as news (key, id)
on conflict on constraint parked_mark_key do nothing;

-- name: parked_for
-- Which parked entries wait under one of these keys?
select p.id, p.mark, p.body
from tinebook.parked as p
where p.joined is null
  and p.id in (select k.id from tinebook.parked_mark as k where k.key = any($1::text[]))
order by p.recorded_at, p.id
for update;

-- name: waiting_keys
-- Under which of these keys does any entry wait?
select distinct k.key
from tinebook.parked_mark as k
join tinebook.parked as p on p.id = k.id and p.joined is null
where k.key = any($1::text[]);

-- name: parked_one
-- One parked entry that still waits.
select p.id, p.mark, p.body
from tinebook.parked as p
where p.joined is null and p.id = $1::uuid
for update;

-- name: join_parked
-- These parked entries have joined the ledger of a connector.
update tinebook.parked as p set joined = $2::uuid where p.id = any($1::uuid[]);

-- name: keep_parked
-- These parked entries can't join yet, for a reason.
update tinebook.parked as p set reason = $2::text where p.id = any($1::uuid[]);

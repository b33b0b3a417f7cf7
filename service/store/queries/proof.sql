-- Verify and rebuild: read everything, a page of connectors at a time.

-- name: connector_count
-- How many connectors are there?
select count(*) as connectors from tinebook.connector as c;

-- name: proof_page
-- The next connectors in the order of their ids, with their heads.
select c.connector, c.serial, c.cage, c.part_number, c.family, h.entries, h.hash, h.definition, h.state, h.asset, h.zone,
       h."position", h.bench, h.handed_over
from tinebook.connector as c
left join tinebook.head as h on h.connector = c.connector
where c.connector > $1::uuid and ($3::uuid is null or c.connector = $3::uuid)
order by c.connector
limit $2::integer;

-- name: proof_heads
-- The heads of these connectors with all that is kept beside the state, locked in the one global order.
select h.connector, h.entries, h.hash, h.definition, h.state, h.asset, h.zone, h."position", h.bench, h.handed_over
from tinebook.head as h
where h.connector = any($1::uuid[])
order by h.connector
for update;

-- name: proof_definitions
-- All definitions of these connectors.
select d.connector, d.number, d.recorded_at, d.body, d.hash
from tinebook.definition as d
where d.connector = any($1::uuid[])
order by d.connector, d.number;

-- name: proof_entries
-- All entries of these connectors, each with the receipt of its id and where that says it is.
select e.connector, e.number, e.id, e.kind, e.cavity, e.performed_at, e.recorded_at, e.body, e.hash, r.digest,
       coalesce(r.connector, p.joined) as kept_in
from tinebook.entry as e
left join tinebook.receipt as r on r.id = e.id
left join tinebook.parked as p on p.id = e.id
where e.connector = any($1::uuid[])
order by e.connector, e.number;

-- name: proof_limit_lines
-- Their lines on the fleet's list.
select l.connector, l.rank, l.urgency, l.wear, l.limiting_cavity, l.cycles_begun, l.rating, l.rating_verified, l.remaining,
       l.worn_cavities, l.unknown_cavities, l.asset, l.zone, l."position", l.family, l.part_number, l.bench
from tinebook.limit_line as l
where l.connector = any($1::uuid[]);

-- name: proof_marks
-- The keys under which they are found.
select m.connector, m.key
from tinebook.mark as m
where m.connector = any($1::uuid[]);

-- name: proof_parked
-- The next entries that wait for their connector, with what they were accepted as and the keys they wait under.
select p.id, p.mark, p.body, r.digest, array(select k.key from tinebook.parked_mark as k where k.id = p.id) as keys
from tinebook.parked as p
left join tinebook.receipt as r on r.id = p.id
where p.joined is null and p.id > $1::uuid
order by p.id
limit $2::integer;

-- name: proof_strays
-- Entries whose connector is not on the books.
select e.connector, e.number
from tinebook.entry as e
left join tinebook.connector as c on c.connector = e.connector
where c.connector is null
order by e.connector, e.number
limit 100;

-- name: proof_lost
-- Accepted ids without their entry: neither in the ledger nor parked.
select r.id, r.connector
from tinebook.receipt as r
left join tinebook.entry as e on e.id = r.id
left join tinebook.parked as p on p.id = r.id and p.joined is null
where e.id is null and p.id is null
order by r.id
limit 100;

-- name: replace_head
-- What the ledger says the head is, whether one is there or not.
insert into tinebook.head as h (connector, entries, hash, definition, state, asset, zone, "position", bench, handed_over)
values ($1::uuid, $2::integer, $3::bytea, $4::integer, $5::bytea, $6::text, $7::text, $8::text, $9::text, $10::boolean)
on conflict on constraint head_key do update
set entries = excluded.entries, hash = excluded.hash, definition = excluded.definition, state = excluded.state,
    asset = excluded.asset, zone = excluded.zone, "position" = excluded."position", bench = excluded.bench,
    handed_over = excluded.handed_over;

-- name: replace_identity
-- Who a connector is, as its definition says.
update tinebook.connector as c
set serial = $2::text, cage = $3::text, part_number = $4::text, family = $5::text
where c.connector = $1::uuid;

-- name: drop_waiting_marks
-- Forget under which keys a parked entry waits, to keep them anew.
delete from tinebook.parked_mark as k
where k.id = $1::uuid;

-- name: drop_marks
-- Forget under which keys a connector is found, to register them anew.
delete from tinebook.mark as m
where m.connector = $1::uuid;

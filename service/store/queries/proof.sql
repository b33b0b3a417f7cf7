-- Verify and rebuild: read everything, a page of connectors at a time.

-- name: connector_count
-- How many connectors are there?
select count(*) as connectors from tinebook.connector as c;

-- name: proof_page
-- The next connectors in the order of their ids, with their heads.
select c.connector, h.entries, h.hash, h.definition, h.state
from tinebook.connector as c
left join tinebook.head as h on h.connector = c.connector
where c.connector > $1::uuid and ($3::uuid is null or c.connector = $3::uuid)
order by c.connector
limit $2::integer;

-- name: proof_definitions
-- All definitions of these connectors.
select d.connector, d.number, d.recorded_at, d.body, d.hash
from tinebook.definition as d
where d.connector = any($1::uuid[])
order by d.connector, d.number;

-- name: proof_entries
-- All entries of these connectors, each with the receipt of its id.
select e.connector, e.number, e.id, e.kind, e.cavity, e.performed_at, e.recorded_at, e.body, e.hash, r.digest
from tinebook.entry as e
left join tinebook.receipt as r on r.id = e.id
where e.connector = any($1::uuid[])
order by e.connector, e.number;

-- name: proof_limit_lines
-- Their lines on the fleet's list.
select l.connector, l.rank, l.urgency, l.wear, l.limiting_cavity, l.cycles_begun, l.rating, l.rating_verified, l.remaining,
       l.worn_cavities, l.asset, l.zone, l."position"
from tinebook.limit_line as l
where l.connector = any($1::uuid[]);

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
insert into tinebook.head as h (connector, entries, hash, definition, state)
values ($1::uuid, $2::integer, $3::bytea, $4::integer, $5::bytea)
on conflict on constraint head_key do update
set entries = excluded.entries, hash = excluded.hash, definition = excluded.definition, state = excluded.state;

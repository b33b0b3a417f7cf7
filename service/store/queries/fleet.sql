-- Registering, finding and listing connectors.

-- name: register_connectors
-- Put connectors on the books.
insert into tinebook.connector (connector, serial, cage, part_number, family, registered_at)
select connector, serial, cage, part_number, family, registered_at
from unnest($1::uuid[], $2::text[], $3::text[], $4::text[], $5::text[], $6::timestamptz[])
    as news (connector, serial, cage, part_number, family, registered_at);

-- name: register_keys
-- Everything under which new connectors are found.
insert into tinebook.mark (key, connector)
select key, connector from unnest($1::text[], $2::uuid[]) as news (key, connector);

-- name: register_marks
-- Everything under which it is found.
insert into tinebook.mark (key, connector)
select key, $2::uuid from unnest($1::text[]) as news (key)
on conflict on constraint mark_key do nothing;

-- name: append_definition
-- What the connector is from now on.
insert into tinebook.definition (connector, number, recorded_at, body, hash)
values ($1::uuid, $2::integer, $3::timestamptz, $4::bytea, $5::bytea);

-- name: append_definitions
-- What new connectors are.
insert into tinebook.definition (connector, number, recorded_at, body, hash)
select connector, number, recorded_at, body, hash
from unnest($1::uuid[], $2::integer[], $3::timestamptz[], $4::bytea[], $5::bytea[])
    as news (connector, number, recorded_at, body, hash);

-- name: start_heads
-- Where the chains and states of new connectors begin.
insert into tinebook.head (connector, entries, hash, definition, state)
select connector, entries, hash, definition, state
from unnest($1::uuid[], $2::integer[], $3::bytea[], $4::integer[], $5::bytea[])
    as news (connector, entries, hash, definition, state);

-- name: move_definition
-- A new definition holds, and the state that it gives.
update tinebook.head as h
set definition = $2::integer, state = $3::bytea
where h.connector = $1::uuid;

-- name: same_connectors
-- Which of these are on the books already? One after the other by the index, however large the register.
select w.place, c.connector
from unnest($1::text[], $2::text[], $3::text[]) with ordinality as w (serial, cage, part_number, place)
cross join lateral (
    select same.connector
    from tinebook.connector as same
    where same.serial = w.serial and same.cage is not distinct from w.cage
      and same.part_number is not distinct from w.part_number
    limit 1
) as c;

-- name: definition_numbers
-- By which definition do these connectors go?
select h.connector, h.definition
from tinebook.head as h
where h.connector = any($1::uuid[]);

-- name: definition_hashes
-- The chain of a connector's definitions.
select d.number, d.hash
from tinebook.definition as d
where d.connector = $1::uuid
order by d.number;

-- name: connector_page
-- A page of the connectors, by serial. Those of a work order are found by the index of what entries state, then compared whole.
select c.connector, c.serial
from tinebook.connector as c
left join tinebook.head as h on h.connector = c.connector
where ($1::text is null or (c.serial, c.connector) > ($1::text, $2::uuid))
  and ($4::text is null or c.part_number = $4::text)
  and ($5::text is null or c.family = $5::text)
  and ($6::text is null or h.asset = $6::text)
  and ($7::text is null or h.zone = $7::text)
  and ($8::text is null or h."position" = $8::text)
  and ($9::text is null or c.connector = any (array(
      select e.connector
      from tinebook.entry as e
      where position('"work_order":"'::bytea in e.body) > 0
        and split_part(split_part(encode(e.body, 'escape'), '"work_order":"', 2), '"', 1)
            = split_part(encode(convert_to(to_json($9::text)::text, 'UTF8'), 'escape'), '"', 2)
        and convert_from(e.body, 'UTF8')::jsonb #>> '{recorded,entry,work_order}' = $9::text
  )))
order by c.serial, c.connector
limit $3::integer;

-- name: entry_page
-- A page of a connector's ledger in the order of recording.
select e.number, e.hash, e.body
from tinebook.entry as e
where e.connector = $1::uuid and e.number > $2::integer
order by e.number
limit $3::integer;

-- name: where_is_entry
-- In which ledger is this entry, or does it still wait?
select r.id, coalesce(r.connector, p.joined) as connector, p.id is not null and p.joined is null as parked
from tinebook.receipt as r
left join tinebook.parked as p on p.id = r.id
where r.id = $1::uuid;

-- name: entry_by_id
-- One entry of a connector's ledger.
select e.number, e.hash, e.body
from tinebook.entry as e
where e.connector = $1::uuid and e.id = $2::uuid;

-- name: parked_page
-- A page of the entries that wait for their connector, oldest first.
select p.id, p.mark, p.reason, p.recorded_at, p.body
from tinebook.parked as p
where p.joined is null and ($1::timestamptz is null or (p.recorded_at, p.id) > ($1::timestamptz, $2::uuid))
order by p.recorded_at, p.id
limit $3::integer;

-- name: waiting_for
-- Parked entries that may be about this connector: they wait under one of its keys.
select p.body
from tinebook.mark as m
join tinebook.parked_mark as k on k.key = m.key
join tinebook.parked as p on p.id = k.id
where m.connector = $1::uuid and p.joined is null
limit $2::integer;

-- Connectors that went to another owner and those that came, the keys that sign, and whose bundles are taken in.

-- name: lock_transfers
-- While this is held nobody else makes a key or hands over: two at once would make two keys.
select pg_advisory_xact_lock(7460011);

-- name: transfer_key
-- The key that signs what goes out.
select k.number, k.private_key, k.public_key, k.made_by, k.made_at
from tinebook.transfer_key as k
order by k.number desc
limit 1;

-- name: keep_transfer_key
-- Keep a new key: it signs from now on.
insert into tinebook.transfer_key (private_key, public_key, made_by, made_at)
values ($1::bytea, $2::bytea, $3::text, $4::timestamptz);

-- name: own_public_keys
-- Every key that ever signed here.
select k.public_key
from tinebook.transfer_key as k;

-- name: trusted_senders
-- What was last said about each key, the newest first.
select t.number, t.public_key, t.name, t.trusted, t.reason, t.recorded_by, t.recorded_at
from (
    select distinct on (s.public_key) s.number, s.public_key, s.name, s.trusted, s.reason, s.recorded_by, s.recorded_at
    from tinebook.trusted_sender as s
    order by s.public_key, s.number desc
) as t
order by t.number desc;

-- name: trusted_sender
-- What was last said about a key.
select s.name, s.trusted
from tinebook.trusted_sender as s
where s.public_key = $1::bytea
order by s.number desc
limit 1;

-- name: state_trust
-- Say whether the bundles that a key signed are taken in.
insert into tinebook.trusted_sender (public_key, name, trusted, reason, recorded_by, recorded_at)
values ($1::bytea, $2::text, $3::boolean, $4::text, $5::text, $6::timestamptz);

-- name: keep_transfer
-- Keep what went out or came in.
insert into tinebook.transfer (id, direction, connector, definitions, entries, hash, party, installation, public_key, reason,
                               recorded_by, recorded_at, sha256, bundle)
values ($1::uuid, $2::text, $3::uuid, $4::integer, $5::integer, $6::bytea, $7::text, $8::uuid, $9::bytea, $10::text,
        $11::text, $12::timestamptz, $13::bytea, $14::bytea);

-- name: transfers
-- A page of what went out and came in, the newest first, of all connectors or of one.
select t.number, t.id, t.direction, t.connector, c.serial, t.definitions, t.entries, t.hash, t.party, t.installation,
       t.public_key, t.reason, t.recorded_by, t.recorded_at, t.sha256, octet_length(t.bundle) as bundle_bytes
from tinebook.transfer as t
join tinebook.connector as c on c.connector = t.connector
where ($1::bigint is null or t.number < $1::bigint)
  and ($3::uuid is null or t.connector = $3::uuid)
order by t.number desc
limit $2::integer;

-- name: transfer_lines
-- The lines of a transfer: one, or two where this installation took its own bundle back.
select t.number, t.id, t.direction, t.connector, c.serial, t.definitions, t.entries, t.hash, t.party, t.installation,
       t.public_key, t.reason, t.recorded_by, t.recorded_at, t.sha256, octet_length(t.bundle) as bundle_bytes
from tinebook.transfer as t
join tinebook.connector as c on c.connector = t.connector
where t.id = $1::uuid
order by t.number;

-- name: transfer_bundle
-- The bundle of a transfer, as it was.
select t.bundle
from tinebook.transfer as t
where t.id = $1::uuid
order by t.number
limit 1;

-- name: last_transfer
-- What was last said about where a connector is.
select t.number, t.id, t.direction, t.party, t.installation, t.recorded_at
from tinebook.transfer as t
where t.connector = $1::uuid
order by t.number desc
limit 1;

-- name: last_received
-- The bundle that a connector last came with.
select t.bundle
from tinebook.transfer as t
where t.connector = $1::uuid and t.direction = 'in'
order by t.number desc
limit 1;

-- name: connectors_away
-- Which of these connectors are not here, now or at a moment: they have left, or had not come yet.
select w.connector
from unnest($1::uuid[]) as w (connector)
cross join lateral (
    select t.direction, $2::timestamptz is null or t.recorded_at <= $2::timestamptz as passed
    from tinebook.transfer as t
    where t.connector = w.connector
    order by passed desc, case when $2::timestamptz is null or t.recorded_at <= $2::timestamptz then -t.number else t.number end
    limit 1
) as l
where (l.direction = 'out') = l.passed;

-- name: set_handed_over
-- A connector has left, or is here again.
update tinebook.head as h
set handed_over = $2::boolean
where h.connector = $1::uuid;

-- name: definition_chain
-- A connector's definitions with their hashes, in order.
select d.number, d.body, d.hash
from tinebook.definition as d
where d.connector = $1::uuid
order by d.number;

-- name: entry_chain
-- A connector's entries with their hashes, in order, and which of them other owners recorded.
select e.number, e.body, e.hash, tinebook.recorded_elsewhere(e.connector, e.number) as elsewhere
from tinebook.entry as e
where e.connector = $1::uuid
order by e.number;

-- name: ids_in_use
-- What was accepted under these ids before: where, with what digest, and whether it waits.
select r.id, coalesce(r.connector, p.joined) as connector, r.digest, p.id is not null and p.joined is null as parked
from tinebook.receipt as r
left join tinebook.parked as p on p.id = r.id
where r.id = any($1::uuid[]);

-- name: identity_taken
-- The connector that goes by this identity here.
select c.connector
from tinebook.connector as c
where c.serial = $1::text and c.cage is not distinct from $2::text and c.part_number is not distinct from $3::text;

-- name: restate_head
-- Where a connector's chain and state stand now that it came, and by which definition it goes.
update tinebook.head as h
set entries = $2::integer, hash = $3::bytea, definition = $4::integer, state = $5::bytea, asset = $6::text,
    zone = $7::text, "position" = $8::text, bench = $9::text, handed_over = false
where h.connector = $1::uuid;

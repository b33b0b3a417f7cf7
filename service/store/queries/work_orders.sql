-- Work orders and the records that are made of them.

-- name: lock_work_order
-- One at a time says what a work order is, or makes a record of it.
select pg_advisory_xact_lock(hashtextextended('tinebook work order ' || $1::text, 0));

-- name: put_work_order
-- The next version of a work order.
insert into tinebook.work_order (number, version, title, description, asset, document, revision, task, inspection_required,
                                 steps, recorded_by, recorded_at)
values ($1::text, $2::integer, $3::text, $4::text, $5::text, $6::text, $7::text, $8::text, $9::boolean, $10::jsonb, $11::text,
        $12::timestamptz);

-- name: work_orders
-- The newest version of each of these work orders.
select o.number, o.version, o.title, o.description, o.asset, o.document, o.revision, o.task, o.inspection_required, o.steps,
       o.recorded_by, o.recorded_at
from unnest($1::text[]) as wanted (number)
cross join lateral (
    select w.number, w.version, w.title, w.description, w.asset, w.document, w.revision, w.task, w.inspection_required, w.steps,
           w.recorded_by, w.recorded_at
    from tinebook.work_order as w
    where w.number = wanted.number
    order by w.version desc
    limit 1
) as o;

-- name: work_order_page
-- A page of the work orders, those that came last first, by the newest version of each; those with a record or without.
select w.number, w.recorded_at
from tinebook.work_order as w
cross join lateral (
    select n.asset from tinebook.work_order as n where n.number = w.number order by n.version desc limit 1
) as newest
where w.version = 1
  and ($1::timestamptz is null or (w.recorded_at, w.number) < ($1::timestamptz, $2::text))
  and ($4::text is null or newest.asset = $4::text)
  and ($5::boolean is null or $5::boolean = exists (select from tinebook.record as r where r.work_order = w.number))
order by w.recorded_at desc, w.number desc
limit $3::integer;

-- name: worked_on
-- Which connectors have entries that state one of these work orders? One order after the other by the index, then compared whole.
select wanted.number, found.connector
from unnest($1::text[]) as wanted (number)
cross join lateral (
    select distinct e.connector
    from tinebook.entry as e
    where position('"work_order":"'::bytea in e.body) > 0
      and split_part(split_part(encode(e.body, 'escape'), '"work_order":"', 2), '"', 1)
          = split_part(encode(convert_to(to_json(wanted.number)::text, 'UTF8'), 'escape'), '"', 2)
      and convert_from(e.body, 'UTF8')::jsonb #>> '{recorded,entry,work_order}' = wanted.number
      and not tinebook.recorded_elsewhere(e.connector, e.number)
) as found
order by 1, 2;

-- name: waiting_work
-- How many entries that state one of these work orders wait for their connector?
select wanted.number, found.waiting
from unnest($1::text[]) as wanted (number)
cross join lateral (
    select count(*) as waiting
    from tinebook.parked as p
    where p.joined is null and position('"work_order":"'::bytea in p.body) > 0
      and split_part(split_part(encode(p.body, 'escape'), '"work_order":"', 2), '"', 1)
          = split_part(encode(convert_to(to_json(wanted.number)::text, 'UTF8'), 'escape'), '"', 2)
      and convert_from(p.body, 'UTF8')::jsonb #>> '{entry,work_order}' = wanted.number
) as found
where found.waiting > 0;

-- name: whole_ledgers
-- Everything recorded of these connectors, in the order of their chains.
select e.connector, e.number, e.hash, e.body, tinebook.recorded_elsewhere(e.connector, e.number) as elsewhere
from tinebook.entry as e
where e.connector = any($1::uuid[])
order by e.connector, e.number;

-- name: tools_named
-- These tools as the shop's list has them.
select t.mark, t.part_number, t.due_on from tinebook.tool as t where t.mark = any($1::text[]);

-- name: lock_records
-- One record is made at a time, so that their numbers have no gaps.
select pg_advisory_xact_lock(7460020);

-- name: next_record
-- The number that the next record gets.
select coalesce(max(r.number), 0) + 1 as number from tinebook.record as r;

-- name: append_record
-- Keep a record.
insert into tinebook.record (number, id, work_order, corrects, approval, canonical, sha256, made_by, made_at)
values ($1::bigint, $2::uuid, $3::text, $4::bigint, $5::uuid, $6::bytea, $7::bytea, $8::text, $9::timestamptz);

-- name: record
-- One record, and which one corrects it.
select r.number, r.id, r.work_order, r.corrects, later.number as corrected_by, r.approval, r.canonical, r.sha256, r.made_by,
       r.made_at
from tinebook.record as r
left join tinebook.record as later on later.corrects = r.number
where r.number = $1::bigint;

-- name: records_of
-- The records of these work orders, oldest first.
select r.number, r.work_order, r.corrects, later.number as corrected_by, r.approval, r.sha256, r.made_by, r.made_at
from tinebook.record as r
left join tinebook.record as later on later.corrects = r.number
where r.work_order = any($1::text[])
order by r.number;

-- name: record_page
-- A page of the records, newest first.
select r.number, r.work_order, r.corrects, later.number as corrected_by, r.approval, r.sha256, r.made_by, r.made_at
from tinebook.record as r
left join tinebook.record as later on later.corrects = r.number
where ($1::bigint is null or r.number < $1::bigint) and ($3::text is null or r.work_order = $3::text)
order by r.number desc
limit $2::integer;

-- name: people_named
-- What these people are called.
select p.badge, p.name from tinebook.person as p where p.badge = any($1::text[]);

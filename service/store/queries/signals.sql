-- What the signals are worked out from. Entries count when they were performed, or recorded if that was earlier; those recorded in
-- error are left out. $1 .. $2 is the stretch of time; asset, zone, position, family and part number choose connectors by where
-- they are now and what they are.

-- name: signal_seatings
-- Insertions that were tested and how many failed: by tool ('tool', in each of its two roles), bench, contact ('batch') or who
-- inserted ('person'), and by what they are compared within. All tests after one insertion are one; a look counts like a pull.
with chosen as (
    select h.connector
    from tinebook.head as h
    join tinebook.connector as c on c.connector = h.connector
    where ($4::text is null or h.asset = $4::text) and ($5::text is null or h.zone = $5::text)
      and ($6::text is null or h."position" = $6::text) and ($7::text is null or c.family = $7::text)
      and ($8::text is null or c.part_number = $8::text)
),
voided as materialized (
    select v.connector, tinebook.stated(v.body, 'corrects')::uuid as id
    from tinebook.entry as v
    where v.kind = 'correction' and v.recorded_at >= $1::timestamptz and tinebook.stated(v.body, 'note') <> ''
),
stated as (
    -- Behind the offset each entry is read where it is scanned, by several at once, and not where it has been sorted to.
    select e.connector, e.cavity, e.kind, e.number, e.id, least(e.performed_at, e.recorded_at) as at,
           case when e.kind <> 'seating_test' and $3::text = 'tool' then tinebook.stated(e.body, 'tool')
                when e.kind = 'insertion' and $3::text = 'batch' then tinebook.stated(e.body, 'contact')
                when e.kind = 'insertion' and $3::text = 'person' then tinebook.stated(e.body, 'performed_by')
                when e.kind = 'seating_test' and $3::text in ('bench', 'tool') then tinebook.stated(e.body, 'bench')
           end as told,
           e.kind = 'seating_test' and (position('"held":false'::bytea in e.body) > 0
                                        or position('"level":false'::bytea in e.body) > 0) as failed
    from tinebook.entry as e
    where e.performed_at >= $1::timestamptz and e.performed_at < $2::timestamptz and e.cavity is not null
      and (e.kind in ('insertion', 'removal')
           or e.kind = 'seating_test' and (position('"held":'::bytea in e.body) > 0
                                           or position('"level":'::bytea in e.body) > 0))
    offset 0
),
turn as (
    select a.connector, a.cavity, a.kind, a.told, a.failed,
           count(*) filter (where a.kind = 'insertion')
               over (partition by a.connector, a.cavity
                     order by a.at, case a.kind when 'removal' then 0 when 'insertion' then 1 else 2 end, a.number) as insertion
    from stated as a
    where not exists (select from voided as v where v.connector = a.connector and v.id = a.id)
      and (coalesce($4::text, $5::text, $6::text, $7::text, $8::text) is null
           or a.connector in (select c.connector from chosen as c))
),
seating as (
    select t.connector, t.cavity, t.insertion,
           min(t.told) filter (where t.kind = 'insertion') as inserted_by,
           lag(min(t.told) filter (where t.kind = 'removal'))
               over (partition by t.connector, t.cavity order by t.insertion) as removed_by,
           min(t.told) filter (where t.kind = 'seating_test') as bench,
           bool_or(t.failed) filter (where t.kind = 'seating_test') as failed
    from turn as t
    group by t.connector, t.cavity, t.insertion
),
sized as (
    -- The size stands before the id of its cavity in the RFC 8785 form of the definition.
    select s.connector, s.cavity, s.insertion, s.inserted_by, s.removed_by, s.bench, s.failed, c.family,
           split_part(split_part(convert_from(d.body, 'UTF8'), '","id":' || to_json(s.cavity)::text || '}', 1),
                      '"contact_size":"', -1) as contact_size
    from seating as s
    join tinebook.connector as c on c.connector = s.connector
    join tinebook.head as h on h.connector = s.connector
    join tinebook.definition as d on d.connector = h.connector and d.number = h.definition
    where $3::text in ('tool', 'batch') and s.insertion > 0 and s.failed is not null
    union all
    select s.connector, s.cavity, s.insertion, s.inserted_by, s.removed_by, s.bench, s.failed, null, null
    from seating as s
    where $3::text not in ('tool', 'batch') and s.insertion > 0 and s.failed is not null
)
select u.role, u.name, s.contact_size, case $3::text when 'tool' then s.family end as family,
       case $3::text when 'tool' then s.bench end as bench, count(*) as tests,
       count(*) filter (where s.failed) as failures
from sized as s
cross join lateral (
    select 'insertion' as role, case $3::text when 'bench' then s.bench else s.inserted_by end as name
    union all
    select 'removal' as role, s.removed_by where $3::text = 'tool'
) as u
where u.name is not null
group by 1, 2, 3, 4, 5;

-- name: signal_reworked
-- Connectors that had contacts taken out, with the number of days, and how long each was on the books, in days, retired ones up to
-- then. Work under an order that was carried out on at least $8 of today's assets is a programme; days with nothing else: `planned`.
with chosen as materialized (
    select h.connector, h.asset, c.serial, c.part_number, c.family, c.registered_at
    from tinebook.head as h
    join tinebook.connector as c on c.connector = h.connector
    where ($3::text is null or h.asset = $3::text) and ($4::text is null or h.zone = $4::text)
      and ($5::text is null or h."position" = $5::text) and ($6::text is null or c.family = $6::text)
      and ($7::text is null or c.part_number = $7::text)
),
voided as materialized (
    select v.connector, tinebook.stated(v.body, 'corrects')::uuid as id
    from tinebook.entry as v
    where v.kind = 'correction' and v.recorded_at >= $1::timestamptz and tinebook.stated(v.body, 'note') <> ''
),
opened as materialized (
    select e.connector, (least(e.performed_at, e.recorded_at) at time zone 'UTC')::date as day,
           tinebook.stated(e.body, 'work_order') as work_order, min(least(e.performed_at, e.recorded_at)) as at
    from tinebook.entry as e
    where e.kind = 'removal' and e.performed_at >= $1::timestamptz and e.performed_at < $2::timestamptz
      and not exists (select from voided as v where v.connector = e.connector and v.id = e.id)
    group by 1, 2, 3
),
programme as (
    select o.work_order
    from opened as o
    join tinebook.head as h on h.connector = o.connector
    where o.work_order is not null
    group by o.work_order
    having count(distinct h.asset) >= $8::integer
),
counted as (
    select o.connector, count(distinct o.day) filter (where p.work_order is null) as events, count(distinct o.day) as days,
           min(o.at) as first_at
    from opened as o
    left join programme as p on p.work_order = o.work_order
    group by o.connector
)
select c.connector, c.serial, c.part_number, c.family, n.events, n.days - n.events as planned,
       extract(epoch from coalesce(least(r.retired_at, $2::timestamptz), $2::timestamptz)
                          - greatest($1::timestamptz, least(c.registered_at, n.first_at)))::double precision / 86400 as days
from counted as n
join chosen as c on c.connector = n.connector
left join lateral (
    select min(e.performed_at) as retired_at
    from tinebook.entry as e
    where e.kind = 'retirement' and e.connector = c.connector
      and not exists (select from voided as v where v.connector = e.connector and v.id = e.id)
) as r on true
order by c.connector;

-- name: signal_exposed
-- How many connectors of a kind were on the books, and for how many days together; retired ones up to then.
select c.family, c.part_number, count(*) as connectors,
       sum(greatest(extract(epoch from coalesce(least(r.retired_at, $2::timestamptz), $2::timestamptz)
                                       - greatest($1::timestamptz, coalesce(f.first_at, c.registered_at))), 0)
       )::double precision / 86400 as days
from tinebook.head as h
join tinebook.connector as c on c.connector = h.connector
left join (
    select e.connector, min(e.performed_at) as retired_at
    from tinebook.entry as e
    where e.kind = 'retirement'
    group by e.connector
) as r on r.connector = h.connector
left join lateral (
    select min(least(e.performed_at, e.recorded_at, c.registered_at)) as first_at
    from tinebook.entry as e
    where e.connector = c.connector and c.registered_at > $1::timestamptz
) as f on true
where ($3::text is null or h.asset = $3::text) and ($4::text is null or h.zone = $4::text)
  and ($5::text is null or h."position" = $5::text) and ($6::text is null or c.family = $6::text)
  and ($7::text is null or c.part_number = $7::text)
  and coalesce(f.first_at, c.registered_at) < $2::timestamptz and coalesce(r.retired_at, $2::timestamptz) > $1::timestamptz
group by c.family, c.part_number;

-- name: signal_places
-- Of each position: on how many assets it was fitted and for how many days together, on how many of them contacts were taken out
-- there beyond programmes (orders carried out on at least $8 assets), and on how many the same cavity came back: opened or
-- found at fault again at least $9 days later. Who sat where comes from placements, whatever became of the connector since.
with voided as materialized (
    select v.connector, tinebook.stated(v.body, 'corrects')::uuid as id
    from tinebook.entry as v
    where v.kind = 'correction' and v.recorded_at >= $1::timestamptz and tinebook.stated(v.body, 'note') <> ''
),
moved as materialized (
    select e.connector, greatest(e.performed_at, $1::timestamptz) as since, tinebook.stated(e.body, 'asset') as asset,
           tinebook.stated(e.body, 'zone') as zone, tinebook.stated(e.body, 'position') as place
    from tinebook.entry as e
    where e.kind = 'placement' and e.performed_at >= $1::timestamptz
      and not exists (select from voided as v where v.connector = e.connector and v.id = e.id)
),
placed as (
    select m.connector, m.since, m.asset, m.zone, m.place from moved as m
    union all
    select b.connector, $1::timestamptz as since, p.asset, p.zone, p.place
    from (select distinct m.connector from moved as m) as b
    cross join lateral (
        select tinebook.stated(e.body, 'asset') as asset, tinebook.stated(e.body, 'zone') as zone,
               tinebook.stated(e.body, 'position') as place
        from tinebook.entry as e
        where e.kind = 'placement' and e.connector = b.connector and e.performed_at < $1::timestamptz
        order by e.performed_at desc
        limit 1
    ) as p
    union all
    select h.connector, $1::timestamptz, h.asset, h.zone, h."position"
    from tinebook.head as h
    where h.asset is not null and h."position" is not null
      and not exists (select from moved as m where m.connector = h.connector)
),
ended as (
    select e.connector, min(e.performed_at) as retired_at
    from tinebook.entry as e
    where e.kind = 'retirement'
      and not exists (select from voided as v where v.connector = e.connector and v.id = e.id)
    group by e.connector
),
stay as materialized (
    select s.connector, s.asset, s.place, s.since,
           greatest(least(coalesce(s.following, $2::timestamptz), coalesce(n.retired_at, $2::timestamptz), $2::timestamptz), s.since)
               as until
    from (
        select p.connector, p.asset, p.zone, p.place, p.since,
               lead(p.since) over (partition by p.connector order by p.since) as following
        from placed as p
    ) as s
    join tinebook.connector as c on c.connector = s.connector
    left join ended as n on n.connector = s.connector
    where s.asset is not null and s.place is not null and s.since < $2::timestamptz
      and ($3::text is null or s.asset = $3::text) and ($4::text is null or s.zone = $4::text)
      and ($5::text is null or s.place = $5::text) and ($6::text is null or c.family = $6::text)
      and ($7::text is null or c.part_number = $7::text)
),
trouble as materialized (
    select s.asset, s.place, e.kind, coalesce(e.cavity, '') as cavity,
           (least(e.performed_at, e.recorded_at) at time zone 'UTC')::date as day,
           tinebook.stated(e.body, 'work_order') as work_order
    from tinebook.entry as e
    join stay as s on s.connector = e.connector
      and least(e.performed_at, e.recorded_at) >= s.since and least(e.performed_at, e.recorded_at) < s.until
    where e.kind in ('removal', 'finding') and e.performed_at >= $1::timestamptz and e.performed_at < $2::timestamptz
      and not exists (select from voided as v where v.connector = e.connector and v.id = e.id)
),
programme as (
    select t.work_order
    from trouble as t
    where t.work_order is not null and t.kind = 'removal'
    group by t.work_order
    having count(distinct t.asset) >= $8::integer
),
come_back as (
    select t.place, t.asset, bool_or(t.kind = 'removal') as opened, max(t.day) - min(t.day) >= $9::integer as again
    from trouble as t
    where not exists (select from programme as p where p.work_order = t.work_order)
    group by t.place, t.asset, t.cavity
),
counted as (
    select b.place, count(distinct b.asset) filter (where b.opened) as reworked,
           count(distinct b.asset) filter (where b.again) as chronic
    from come_back as b
    group by b.place
)
select s.place, count(distinct s.asset) as assets,
       sum(extract(epoch from s.until - s.since))::double precision / 86400 as days,
       coalesce(max(n.reworked), 0) as reworked, coalesce(max(n.chronic), 0) as chronic
from stay as s
left join counted as n on n.place = s.place
group by s.place
order by s.place;

-- name: signal_readings
-- Retention forces of retainers that have readings at several cycles, by family and contact size: up to $8 retainers of each, those
-- with the most readings. `cycles` counts insertions since the stretch began; a renewal begins another series.
with chosen as (
    select h.connector, c.family
    from tinebook.head as h
    join tinebook.connector as c on c.connector = h.connector
    where ($3::text is null or h.asset = $3::text) and ($4::text is null or h.zone = $4::text)
      and ($5::text is null or h."position" = $5::text) and ($6::text is null or c.family = $6::text)
      and ($7::text is null or c.part_number = $7::text)
),
voided as materialized (
    select v.connector, tinebook.stated(v.body, 'corrects')::uuid as id
    from tinebook.entry as v
    where v.kind = 'correction' and v.recorded_at >= $1::timestamptz and tinebook.stated(v.body, 'note') <> ''
),
act as (
    select e.connector, e.cavity, e.kind, e.number, least(e.performed_at, e.recorded_at) as at,
           case when e.kind = 'seating_test'
                then (convert_from(e.body, 'UTF8')::jsonb #>> '{recorded,entry,force_n}')::double precision end as force_n
    from tinebook.entry as e
    where e.performed_at >= $1::timestamptz and e.performed_at < $2::timestamptz and e.cavity is not null
      and (e.kind = 'insertion' or e.kind = 'seating_test' and position('"force_n":'::bytea in e.body) > 0)
      and not exists (select from voided as v where v.connector = e.connector and v.id = e.id)
),
turn as (
    select a.connector, a.cavity, a.force_n, a.at,
           count(*) filter (where a.kind = 'insertion')
               over (partition by a.connector, a.cavity order by a.at, a.kind, a.number) as cycles
    from act as a
),
reading as (
    select t.connector, t.cavity, t.force_n, t.cycles, (
               select count(*)
               from tinebook.entry as e
               cross join lateral (select convert_from(e.body, 'UTF8')::jsonb #> '{recorded,entry,cavities}' as named) as f
               where e.kind = 'renewal' and e.connector = t.connector and e.performed_at < t.at
                 and (e.cavity = t.cavity or e.cavity is null and coalesce(f.named ? t.cavity, true))
           ) as life
    from turn as t
    where t.force_n is not null
),
series as (
    select r.connector, r.cavity, r.life, c.family, count(*) as readings
    from reading as r
    join chosen as c on c.connector = r.connector
    group by r.connector, r.cavity, r.life, c.family
    having min(r.cycles) < max(r.cycles)
),
sized as (
    select s.connector, s.cavity, s.life, s.family, z.contact_size,
           row_number() over (partition by s.family, z.contact_size order by s.readings desc, s.connector, s.cavity, s.life)
               as number
    from series as s
    join tinebook.head as h on h.connector = s.connector
    join tinebook.definition as d on d.connector = h.connector and d.number = h.definition
    cross join lateral jsonb_to_recordset(convert_from(d.body, 'UTF8')::jsonb #> '{definition,cavities}')
        as z (id text, contact_size text)
    where z.id = s.cavity
)
select z.family, z.contact_size, z.number, r.cycles, r.force_n
from sized as z
join reading as r on r.connector = z.connector and r.cavity = z.cavity and r.life = z.life
where z.number <= $8::integer
order by z.family, z.contact_size, z.number, r.cycles, r.force_n;

-- name: signal_room
-- Until the transaction ends: sort in memory, and plan for the stretch of time that is asked about.
select set_config('work_mem', '128MB', true) as work_mem,
       set_config('plan_cache_mode', 'force_custom_plan', true) as plan_cache_mode;

-- name: keep_signal_answer
-- Keep the answer to a question about the whole fleet instead of the one before.
insert into tinebook.signal_answer as a (about, until, took_s, body)
values ($1::text, $2::timestamptz, $3::double precision, $4::bytea)
on conflict on constraint signal_answer_key do update
set until = excluded.until, took_s = excluded.took_s, body = excluded.body
where a.until < excluded.until;

-- name: kept_signal_answer
-- The answer that is kept to a question about the whole fleet.
select a.until, a.took_s, a.body
from tinebook.signal_answer as a
where a.about = $1::text;

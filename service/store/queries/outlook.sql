-- What the outlook is worked out from, and what its runs said.

-- name: census_patience
-- Let this transaction join a large fleet without writing it down in between.
select set_config('work_mem', '256MB', true) as work_mem;

-- name: census_definitions
-- What connectors are, all or these.
select d.connector, d.body
from tinebook.definition as d
join tinebook.head as h on h.connector = d.connector and h.definition = d.number
where $1::uuid[] is null or d.connector = any ($1::uuid[]);

-- name: census_heads
-- What is known of connectors, all or these, and where they are.
select h.connector, h.entries, h.state, h.asset, h.zone, t.type as asset_type, c.part_number, c.family, c.registered_at,
       h.handed_over
from tinebook.head as h
join tinebook.connector as c on c.connector = h.connector
left join (
    select distinct on (a.asset) a.asset, a.type
    from tinebook.asset as a
    order by a.asset, a.number desc
) as t on t.asset = h.asset
where $1::uuid[] is null or h.connector = any ($1::uuid[]);

-- name: census_acts
-- Entries that used retainers up, of all connectors or these, without those that were recorded in error. Texts as numbers. In RFC
-- 8785 form a quote within a text is never bare, so what stands between these quotes is the work order.
select e.connector, least(e.performed_at, e.recorded_at) as at,
       case when position('"work_order":"'::bytea in e.body) > 0
            then hashtextextended(split_part(split_part(encode(e.body, 'escape'), '"work_order":"', 2), '"', 1), 0)
            else 0 end as work_order,
       hashtextextended(e.cavity, 0) as cavity, e.kind = 'tine_entry' as slip
from tinebook.entry as e
where e.kind in ('insertion', 'tine_entry') and e.cavity is not null
  and ($1::uuid[] is null or e.connector = any ($1::uuid[]))
  and not exists (
      select from tinebook.entry as v
      where v.kind = 'correction' and v.connector = e.connector
        and coalesce(convert_from(v.body, 'UTF8')::jsonb #>> '{recorded,entry,note}', '') <> ''
        and (convert_from(v.body, 'UTF8')::jsonb #>> '{recorded,entry,corrects}')::uuid = e.id
  );

-- name: census_turns
-- What turned the life of a connector, all or these: placements (0), renewals (1), retirements (2), carry-ins (3). A renewal comes
-- once for each cavity that it names, with 0 for all. Texts as numbers, 0 for none.
select e.connector, least(e.performed_at, e.recorded_at) as at,
       (case e.kind when 'placement' then 0 when 'renewal' then 1 when 'retirement' then 2 else 3 end)::smallint as kind,
       coalesce(hashtextextended(e.fact ->> 'asset', 0), 0) as asset,
       coalesce(hashtextextended(w.cavity, 0), 0) as cavity
from (
    select x.connector, x.id, x.kind, x.performed_at, x.recorded_at,
           convert_from(x.body, 'UTF8')::jsonb #> '{recorded,entry}' as fact
    from tinebook.entry as x
    where x.kind in ('placement', 'renewal', 'retirement', 'carry_in')
      and ($1::uuid[] is null or x.connector = any ($1::uuid[]))
) as e
cross join lateral (
    select e.fact ->> 'cavity' as cavity where e.kind <> 'renewal' or e.fact -> 'cavities' is null
    union all
    select n.cavity from jsonb_array_elements_text(e.fact -> 'cavities') as n (cavity) where e.kind = 'renewal'
) as w
where not exists (
    select from tinebook.entry as v
    where v.kind = 'correction' and v.connector = e.connector
      and coalesce(convert_from(v.body, 'UTF8')::jsonb #>> '{recorded,entry,note}', '') <> ''
      and (convert_from(v.body, 'UTF8')::jsonb #>> '{recorded,entry,corrects}')::uuid = e.id
);

-- name: census_usage
-- What assets, all or these, fly by the statements that hold. The asset as a number, the day since 2000, what is not said as NaN.
select distinct on (u.asset, u.day) hashtextextended(u.asset, 0) as asset, (u.day - date '2000-01-01')::bigint as day,
       coalesce(u.flight_hours, 'NaN') as flight_hours, coalesce(u.flight_cycles, 'NaN'::double precision) as flight_cycles
from tinebook.asset_usage as u
where $1::text[] is null or u.asset = any ($1::text[])
order by u.asset, u.day, u.number desc;

-- name: census_numbers
-- The numbers under which texts come in the columns above.
select n.name, hashtextextended(n.name, 0) as number
from unnest($1::text[]) as n (name);

-- name: usage_that_holds
-- What is stated for these assets and days.
select w.place, u.flight_hours, u.flight_cycles
from unnest($1::text[], $2::date[]) with ordinality as w (asset, day, place)
cross join lateral (
    select s.flight_hours, s.flight_cycles
    from tinebook.asset_usage as s
    where s.asset = w.asset and s.day = w.day
    order by s.number desc
    limit 1
) as u;

-- name: record_usage
-- Keep statements of usage.
insert into tinebook.asset_usage (asset, day, flight_hours, flight_cycles, recorded_by, recorded_at)
select n.asset, n.day, n.flight_hours, n.flight_cycles, $5::text, $6::timestamptz
from unnest($1::text[], $2::date[], $3::double precision[], $4::integer[]) as n (asset, day, flight_hours, flight_cycles);

-- name: usage_page
-- A page of the statements of usage that hold, by asset and day.
select distinct on (u.asset, u.day) u.asset, u.day, u.flight_hours, u.flight_cycles, u.recorded_by, u.recorded_at
from tinebook.asset_usage as u
where ($1::text is null or (u.asset, u.day) > ($1::text, $2::date)) and ($3::text is null or u.asset = $3::text)
order by u.asset, u.day, u.number desc
limit $4::integer;

-- name: visits_that_hold
-- What is stated of these visits.
select w.place, v.starts_on
from unnest($1::text[], $2::text[]) with ordinality as w (asset, name, place)
cross join lateral (
    select s.starts_on
    from tinebook.visit as s
    where s.asset = w.asset and s.name = w.name
    order by s.number desc
    limit 1
) as v;

-- name: record_visits
-- Keep statements of visits.
insert into tinebook.visit (asset, name, starts_on, recorded_by, recorded_at)
select n.asset, n.name, n.starts_on, $4::text, $5::timestamptz
from unnest($1::text[], $2::text[], $3::date[]) as n (asset, name, starts_on);

-- name: visit_list
-- The visits that hold and begin from a day on, by asset, day and name.
select v.asset, v.name, v.starts_on, v.recorded_by, v.recorded_at
from (
    select distinct on (s.asset, s.name) s.asset, s.name, s.starts_on, s.recorded_by, s.recorded_at
    from tinebook.visit as s
    where $1::text is null or s.asset = $1::text
    order by s.asset, s.name, s.number desc
) as v
where v.starts_on is not null and ($2::date is null or v.starts_on >= $2::date)
order by v.asset, v.starts_on, v.name;

-- name: outlook_lock
-- Whether this session may compute: one at a time.
select pg_try_advisory_lock(6016202611250005) as taken;

-- name: outlook_unlock
-- Let another session compute.
select pg_advisory_unlock(6016202611250005) as let_go;

-- name: next_outlook_run
-- The number of the run that comes next.
select coalesce(max(r.run), 0) + 1 as run from tinebook.outlook_run as r;

-- name: record_outlook_run
-- Keep a run.
insert into tinebook.outlook_run (run, as_of, computed_at, computed_by, body)
values ($1::bigint, $2::timestamptz, $3::timestamptz, $4::text, $5::jsonb);

-- name: record_outlook_groups
-- Keep what a run believed of its groups.
insert into tinebook.outlook_group (run, number, body)
select $1::bigint, n.number, n.body from unnest($2::integer[], $3::jsonb[]) as n (number, body);

-- name: record_outlook_parts
-- Keep what a run expects of part numbers.
insert into tinebook.outlook_part (run, number, part_number, family, body)
select $1::bigint, n.number, n.part_number, n.family, n.body
from unnest($2::integer[], $3::text[], $4::text[], $5::jsonb[]) as n (number, part_number, family, body);

-- name: drop_outlook_lines
-- Forget what runs before this one said of each connector: it can be computed again.
delete from tinebook.outlook_line as l where l.run < $1::bigint;

-- name: newest_outlook_run
-- The newest run.
select r.run, r.as_of, r.computed_at, r.computed_by, r.body
from tinebook.outlook_run as r
order by r.run desc
limit 1;

-- name: outlook_groups
-- What a run believed of its groups.
select g.number, g.body
from tinebook.outlook_group as g
where g.run = $1::bigint and ($2::integer[] is null or g.number = any ($2::integer[]))
order by g.number;

-- name: outlook_parts
-- What a run expects of part numbers, those that need most first.
select p.number, p.part_number, p.family, p.body
from tinebook.outlook_part as p
where p.run = $1::bigint and p.number > $2::integer
  and ($4::text is null or p.part_number = $4::text)
  and ($5::text is null or p.family = $5::text)
order by p.number
limit $3::integer;

-- name: outlook_within
-- Connectors that will run out by a horizon with at least such a probability, the most probable first.
select l.connector, c.serial, c.part_number, c.family, h.asset, h.zone, h."position", h.entries <> l.entries as moved_on,
       l.number, l.band, l.due, l.probability, l.supposed, l.days_low, l.days_middle, l.days_high, l.limiting_cavity,
       l.remaining, l.rating, l.rating_verified, l.events, l.units
from tinebook.outlook_line as l
join tinebook.connector as c on c.connector = l.connector
join tinebook.head as h on h.connector = l.connector
where l.run = $1::bigint and l.band <> 2 and l.band = $3::smallint
  and l.probability[$2::integer] >= 0.01 and l.probability[$2::integer] >= $4::real
  and ($5::real is null or l.probability[$2::integer] < $5::real
       or (l.probability[$2::integer] = $5::real and l.connector > $6::uuid))
  and ($5::real is null or l.probability[$2::integer] <= $5::real)
  and ($8::text is null or h.asset = $8::text)
  and ($9::text is null or h.zone = $9::text)
  and ($10::text is null or h."position" = $10::text)
  and ($11::text is null or c.family = $11::text)
  and ($12::text is null or c.part_number = $12::text)
order by l.probability[$2::integer] desc, l.connector
limit $7::integer;

-- name: outlook_not_known
-- Connectors of which a run could say nothing, or only at least how probably they run out, by their ids.
select l.connector, c.serial, c.part_number, c.family, h.asset, h.zone, h."position", h.entries <> l.entries as moved_on,
       l.number, l.band, l.due, l.probability, l.supposed, l.days_low, l.days_middle, l.days_high, l.limiting_cavity,
       l.remaining, l.rating, l.rating_verified, l.events, l.units
from tinebook.outlook_line as l
join tinebook.connector as c on c.connector = l.connector
join tinebook.head as h on h.connector = l.connector
where l.run = $1::bigint and l.band <> 0
  and ($2::uuid is null or l.connector > $2::uuid)
  and ($4::text is null or h.asset = $4::text)
  and ($5::text is null or h.zone = $5::text)
  and ($6::text is null or h."position" = $6::text)
  and ($7::text is null or c.family = $7::text)
  and ($8::text is null or c.part_number = $8::text)
order by l.connector
limit $3::integer;

-- name: outlook_of_asset
-- What a run says of the connectors on an asset.
select l.connector, c.serial, c.part_number, c.family, h.asset, h.zone, h."position", l.band, l.due, l.probability
from tinebook.head as h
join tinebook.outlook_line as l on l.connector = h.connector and l.run = $1::bigint
join tinebook.connector as c on c.connector = h.connector
where h.asset = $2::text
  and ($3::text is null or h.zone = $3::text)
  and ($4::text is null or h."position" = $4::text)
  and ($5::text is null or c.family = $5::text)
  and ($6::text is null or c.part_number = $6::text)
order by l.connector;

-- name: connectors_meant
-- Connectors by id, place or kind, all that is said combining; by their ids.
select c.connector
from tinebook.connector as c
join tinebook.head as h on h.connector = c.connector
where ($1::uuid is null or c.connector = $1::uuid)
  and ($2::text is null or h.asset = $2::text)
  and ($3::text is null or h.zone = $3::text)
  and ($4::text is null or h."position" = $4::text)
  and ($5::text is null or c.family = $5::text)
  and ($6::text is null or c.part_number = $6::text)
order by c.connector
limit $7::integer;

-- name: connectors_named
-- What connectors are called and where they are.
select c.connector, c.serial, c.part_number, c.family, h.asset, h.zone, h."position"
from unnest($1::uuid[]) as n (connector)
join tinebook.connector as c on c.connector = n.connector
join tinebook.head as h on h.connector = c.connector;

-- name: census_assets
-- The assets on which these connectors ever were.
select distinct convert_from(e.body, 'UTF8')::jsonb #>> '{recorded,entry,asset}' as asset
from tinebook.entry as e
where e.kind = 'placement' and e.connector = any ($1::uuid[]);

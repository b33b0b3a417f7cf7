-- The tables of the fleet's reports: kept by each write, read by the reports.

-- name: drop_worn_cavities
-- These retainers are no longer worn.
delete from tinebook.worn_cavity as w
using unnest($1::uuid[], $2::text[]) as gone (connector, cavity)
where w.connector = gone.connector and w.cavity = gone.cavity;

-- name: drop_worn_of
-- Forget which retainers of a connector are worn, to keep them anew.
delete from tinebook.worn_cavity as w where w.connector = $1::uuid;

-- name: put_worn_cavities
-- Put worn retainers on the fleet's list, or move them on it.
insert into tinebook.worn_cavity (connector, cavity, rank, urgency, retainer_life, occupied, cycles_begun, cycles_completed,
                                  rating, rating_verified, remaining, asset, zone, "position", family, part_number, bench)
select connector, cavity, rank, urgency, retainer_life, occupied, cycles_begun, cycles_completed, rating, rating_verified,
       remaining, asset, zone, place, family, part_number, bench
from unnest($1::uuid[], $2::text[], $3::smallint[], $4::integer[], $5::integer[], $6::boolean[], $7::integer[],
            $8::integer[], $9::integer[], $10::boolean[], $11::integer[], $12::text[], $13::text[], $14::text[], $15::text[],
            $16::text[], $17::text[])
    as news (connector, cavity, rank, urgency, retainer_life, occupied, cycles_begun, cycles_completed, rating,
             rating_verified, remaining, asset, zone, place, family, part_number, bench)
on conflict on constraint worn_cavity_key do update
set rank = excluded.rank, urgency = excluded.urgency, retainer_life = excluded.retainer_life, occupied = excluded.occupied,
    cycles_begun = excluded.cycles_begun, cycles_completed = excluded.cycles_completed, rating = excluded.rating,
    rating_verified = excluded.rating_verified, remaining = excluded.remaining, asset = excluded.asset,
    zone = excluded.zone, "position" = excluded."position", family = excluded.family, part_number = excluded.part_number,
    bench = excluded.bench;

-- name: settle_discrepancies
-- These discrepancies are no longer open.
delete from tinebook.open_discrepancy as d
using unnest($1::uuid[], $2::uuid[], $3::text[], $4::text[]) as gone (connector, entry, code, cavity)
where d.connector = gone.connector and d.entry = gone.entry and d.code = gone.code and d.cavity = gone.cavity;

-- name: settle_all_of
-- Forget what is open at a connector, to keep it anew.
delete from tinebook.open_discrepancy as d where d.connector = $1::uuid;

-- name: open_discrepancies
-- Put discrepancies on the open list.
insert into tinebook.open_discrepancy (connector, number, code, cavity, entry, rank, performed_at, recorded_at, bench, asset,
                                       zone, "position", family, part_number)
select connector, number, code, cavity, entry, rank, performed_at, recorded_at, bench, asset, zone, place, family, part_number
from unnest($1::uuid[], $2::integer[], $3::text[], $4::text[], $5::uuid[], $6::smallint[], $7::timestamptz[],
            $8::timestamptz[], $9::text[], $10::text[], $11::text[], $12::text[], $13::text[], $14::text[])
    as news (connector, number, code, cavity, entry, rank, performed_at, recorded_at, bench, asset, zone, place, family,
             part_number);

-- name: relocate_discrepancies
-- What is open at these connectors is open where they are now.
update tinebook.open_discrepancy as d
set asset = news.asset, zone = news.zone, "position" = news.place, family = news.family, part_number = news.part_number
from unnest($1::uuid[], $2::text[], $3::text[], $4::text[], $5::text[], $6::text[])
    as news (connector, asset, zone, place, family, part_number)
where d.connector = news.connector;

-- name: add_to_wear
-- Add to the groups' counts, in rows of this session's own: 16 for the few large groups, where writers would else queue, 4 for
-- the many small ones. In one order, for where two sessions do share rows.
insert into tinebook.wear_sum as s (dimension, parent, name, shard, connectors, within, nearing, spent, over, unknown,
                                    discrepancies)
select dimension, parent, name,
       pg_backend_pid() % case when dimension in ('fleet', 'zone', 'family', 'bench') then 16 else 4 end,
       connectors, within, nearing, spent, over, unknown, discrepancies
from unnest($1::text[], $2::text[], $3::text[], $4::bigint[], $5::bigint[], $6::bigint[], $7::bigint[], $8::bigint[],
            $9::bigint[], $10::bigint[])
    as news (dimension, parent, name, connectors, within, nearing, spent, over, unknown, discrepancies)
order by dimension, parent collate "C", name collate "C"
on conflict on constraint wear_sum_key do update
set connectors = s.connectors + excluded.connectors, within = s.within + excluded.within,
    nearing = s.nearing + excluded.nearing, spent = s.spent + excluded.spent, over = s.over + excluded.over,
    unknown = s.unknown + excluded.unknown, discrepancies = s.discrepancies + excluded.discrepancies;

-- name: add_to_cycles
-- Add to the counts of cavities by cycles begun, likewise.
insert into tinebook.cycles_sum as s (family, rating, rating_verified, cycles_begun, shard, cavities)
select family, rating, rating_verified, cycles_begun, pg_backend_pid() % 16, cavities
from unnest($1::text[], $2::integer[], $3::boolean[], $4::integer[], $5::bigint[])
    as news (family, rating, rating_verified, cycles_begun, cavities)
order by family collate "C", rating, rating_verified, cycles_begun
on conflict on constraint cycles_sum_key do update set cavities = s.cavities + excluded.cavities;

-- name: proof_worn
-- Which retainers of these connectors stand on the fleet's list, and how.
select w.connector, w.cavity, w.rank, w.urgency, w.retainer_life, w.occupied, w.cycles_begun, w.cycles_completed, w.rating,
       w.rating_verified, w.remaining, w.asset, w.zone, w."position", w.family, w.part_number, w.bench
from tinebook.worn_cavity as w
where w.connector = any($1::uuid[])
order by w.connector, w.cavity;

-- name: proof_open
-- What is open at these connectors.
select d.connector, d.number, d.code, d.cavity, d.entry, d.rank, d.performed_at, d.recorded_at, d.bench, d.asset, d.zone,
       d."position", d.family, d.part_number
from tinebook.open_discrepancy as d
where d.connector = any($1::uuid[])
order by d.connector, d.number, d.code, d.cavity;

-- name: proof_wear
-- What the groups' counts add up to.
select s.dimension, s.parent, s.name, sum(s.connectors)::bigint as connectors, sum(s.within)::bigint as within,
       sum(s.nearing)::bigint as nearing, sum(s.spent)::bigint as spent, sum(s.over)::bigint as over,
       sum(s.unknown)::bigint as unknown, sum(s.discrepancies)::bigint as discrepancies
from tinebook.wear_sum as s
group by s.dimension, s.parent, s.name;

-- name: proof_cycles
-- What the counts of cavities by cycles begun add up to.
select s.family, s.rating, s.rating_verified, s.cycles_begun, sum(s.cavities)::bigint as cavities
from tinebook.cycles_sum as s
group by s.family, s.rating, s.rating_verified, s.cycles_begun;

-- name: proof_states
-- The next heads in the order of their connectors, for adding up what they contribute.
select h.connector, h.definition, h.state, h.bench, h.handed_over
from tinebook.head as h
where h.connector > $1::uuid
order by h.connector
limit $2::integer;

-- name: cycle_limits
-- The fleet's list of connectors, worst first.
-- The page is cut before anything is joined to it.
with page as materialized (
    select l.connector, l.rank, l.urgency, l.wear, l.limiting_cavity, l.cycles_begun, l.rating, l.rating_verified, l.remaining,
           l.worn_cavities, l.unknown_cavities, l.asset, l.zone, l."position", l.family, l.part_number, l.bench
    from tinebook.limit_line as l
    where ($1::smallint is null or (l.rank, l.urgency, l.connector) > ($1::smallint, $2::integer, $3::uuid))
      and ($5::smallint[] is null or l.rank = any($5::smallint[]))
      and ($6::text is null or l.asset = $6::text)
      and ($7::text is null or l.zone = $7::text)
      and ($8::text is null or l."position" = $8::text)
      and ($9::text is null or l.family = $9::text)
      and ($10::text is null or l.part_number = $10::text)
      and ($11::text is null or l.bench = $11::text)
    order by l.rank, l.urgency, l.connector
    limit $4::integer
)
select l.connector, c.serial, l.rank, l.urgency, l.wear, l.limiting_cavity, l.cycles_begun, l.rating, l.rating_verified,
       l.remaining, l.worn_cavities, l.unknown_cavities, l.asset, l.zone, l."position", l.family, l.part_number, l.bench
from page as l
join tinebook.connector as c on c.connector = l.connector
order by l.rank, l.urgency, l.connector;

-- name: worn_cavities
-- The fleet's list of worn retainers, worst first.
-- The page is cut before anything is joined to it.
with page as materialized (
    select w.connector, w.cavity, w.rank, w.urgency, w.retainer_life, w.occupied, w.cycles_begun, w.cycles_completed, w.rating,
           w.rating_verified, w.remaining, w.asset, w.zone, w."position", w.family, w.part_number, w.bench
    from tinebook.worn_cavity as w
    where ($1::smallint is null or (w.rank, w.urgency, w.connector, w.cavity) > ($1::smallint, $2::integer, $3::uuid, $4::text))
      and ($6::smallint[] is null or w.rank = any($6::smallint[]))
      and ($7::text is null or w.asset = $7::text)
      and ($8::text is null or w.zone = $8::text)
      and ($9::text is null or w."position" = $9::text)
      and ($10::text is null or w.family = $10::text)
      and ($11::text is null or w.part_number = $11::text)
      and ($12::text is null or w.bench = $12::text)
    order by w.rank, w.urgency, w.connector, w.cavity
    limit $5::integer
)
select w.connector, c.serial, w.cavity, w.rank, w.urgency, w.retainer_life, w.occupied, w.cycles_begun, w.cycles_completed,
       w.rating, w.rating_verified, w.remaining, w.asset, w.zone, w."position", w.family, w.part_number, w.bench
from page as w
join tinebook.connector as c on c.connector = w.connector
order by w.rank, w.urgency, w.connector, w.cavity;

-- name: connectors_with_unknown
-- Connectors with retainers of which nothing is known, from one on, with their states.
-- The page is cut before anything is joined to it.
with page as materialized (
    select l.connector
    from tinebook.limit_line as l
    where l.unknown_cavities > 0
      and l.connector >= $1::uuid
      and ($3::text is null or l.asset = $3::text)
      and ($4::text is null or l.zone = $4::text)
      and ($5::text is null or l."position" = $5::text)
      and ($6::text is null or l.family = $6::text)
      and ($7::text is null or l.part_number = $7::text)
      and ($8::text is null or l.bench = $8::text)
    order by l.connector
    limit $2::integer
)
select l.connector, c.serial, h.definition, h.state, h.bench
from page as l
join tinebook.connector as c on c.connector = l.connector
join tinebook.head as h on h.connector = l.connector
order by l.connector;

-- name: wear_groups
-- Wear counted together by a dimension, the worst groups first.
select g.name, g.connectors, g.within, g.nearing, g.spent, g.over, g.unknown, g.discrepancies
from (
    select s.name, sum(s.connectors)::bigint as connectors, sum(s.within)::bigint as within,
           sum(s.nearing)::bigint as nearing, sum(s.spent)::bigint as spent, sum(s.over)::bigint as over,
           sum(s.unknown)::bigint as unknown, sum(s.discrepancies)::bigint as discrepancies
    from tinebook.wear_sum as s
    where s.dimension = $1::text
      and ($2::text is null or s.parent = $2::text)
      and ($3::text[] is null or s.name = any($3::text[]))
    group by s.name
) as g
where (g.connectors <> 0 or g.discrepancies <> 0)
  and ($5::bigint is null or (-g.over, -g.spent, -g.nearing, g.name) > (-$5::bigint, -$6::bigint, -$7::bigint, $8::text))
order by g.over desc, g.spent desc, g.nearing desc, g.name
limit $4::integer;

-- name: wear_of_shops
-- Wear counted together by the shops of the benches that recorded last, the worst first.
select g.name, g.connectors, g.within, g.nearing, g.spent, g.over, g.unknown, g.discrepancies
from (
    select coalesce(b.shop, '') collate "C" as name, sum(s.connectors)::bigint as connectors, sum(s.within)::bigint as within,
           sum(s.nearing)::bigint as nearing, sum(s.spent)::bigint as spent, sum(s.over)::bigint as over,
           sum(s.unknown)::bigint as unknown, sum(s.discrepancies)::bigint as discrepancies
    from tinebook.wear_sum as s
    left join tinebook.bench as b on b.name = s.name
    where s.dimension = 'bench' and ($1::text is null or b.shop = $1::text)
    group by 1
) as g
where (g.connectors <> 0 or g.discrepancies <> 0)
  and ($3::bigint is null or (-g.over, -g.spent, -g.nearing, g.name) > (-$3::bigint, -$4::bigint, -$5::bigint, $6::text))
order by g.over desc, g.spent desc, g.nearing desc, g.name
limit $2::integer;

-- name: wear_of_asset_types
-- Wear counted together by what the assets are on which connectors are, the worst first; without a name those of no known type.
select g.name, g.connectors, g.within, g.nearing, g.spent, g.over, g.unknown, g.discrepancies
from (
    select coalesce(a.type, '') collate "C" as name, sum(s.connectors)::bigint as connectors, sum(s.within)::bigint as within,
           sum(s.nearing)::bigint as nearing, sum(s.spent)::bigint as spent, sum(s.over)::bigint as over,
           sum(s.unknown)::bigint as unknown, sum(s.discrepancies)::bigint as discrepancies
    from tinebook.wear_sum as s
    left join (
        select distinct on (n.asset) n.asset, n.type from tinebook.asset as n order by n.asset, n.number desc
    ) as a on a.asset = s.name
    where s.dimension = 'asset'
    group by 1
) as g
where (g.connectors <> 0 or g.discrepancies <> 0)
  and ($2::bigint is null or (-g.over, -g.spent, -g.nearing, g.name) > (-$2::bigint, -$3::bigint, -$4::bigint, $5::text))
order by g.over desc, g.spent desc, g.nearing desc, g.name
limit $1::integer;

-- name: cycles_groups
-- How many retainers have begun how many cycles, by family and rating.
select s.family, s.rating, s.rating_verified, s.cycles_begun, sum(s.cavities)::bigint as cavities
from tinebook.cycles_sum as s
where $1::text is null or s.family = $1::text
group by s.family, s.rating, s.rating_verified, s.cycles_begun
having sum(s.cavities) <> 0
order by s.family, s.rating, s.rating_verified, s.cycles_begun;

-- name: past_page
-- Connectors that were on the books at a moment, in the order of their ids.
select c.connector, c.serial
from tinebook.connector as c
where c.connector > $1::uuid
  and c.registered_at <= $3::timestamptz
  and ($4::text is null or c.family = $4::text)
  and ($5::text is null or c.part_number = $5::text)
order by c.connector
limit $2::integer;

-- name: past_definitions
-- By which definition these connectors went at a moment.
select distinct on (d.connector) d.connector, d.body
from tinebook.definition as d
where d.connector = any($1::uuid[]) and d.recorded_at <= $2::timestamptz
order by d.connector, d.number desc;

-- name: unchanged_since
-- Those of these connectors of which nothing was recorded since a moment: they stand as they stood.
select h.connector, h.state, h.bench
from tinebook.head as h
where h.connector = any($1::uuid[])
  and not exists (
      select from tinebook.entry as e where e.connector = h.connector and e.recorded_at > $2::timestamptz
  )
  and not exists (
      select from tinebook.definition as d where d.connector = h.connector and d.recorded_at > $2::timestamptz
  );

-- name: past_entries
-- What the ledgers of these connectors held at a moment.
select e.connector, e.body
from tinebook.entry as e
where e.connector = any($1::uuid[]) and e.recorded_at <= $2::timestamptz
order by e.connector, e.number;

-- name: put_bench
-- Say to which shop a bench belongs.
insert into tinebook.bench (name, shop) values ($1::text, $2::text)
on conflict on constraint bench_key do update set shop = excluded.shop;

-- name: bench_page
-- A page of the benches of which the shop is known, by name.
select b.name, b.shop
from tinebook.bench as b
where $1::text is null or b.name > $1::text
order by b.name
limit $2::integer;

-- name: benches_of
-- The benches of a shop.
select b.name from tinebook.bench as b where b.shop = $1::text order by b.name;

-- name: discrepancy_page
-- Open discrepancies with their entries, the most serious first and of those the oldest.
-- The page is cut before anything is joined to it.
with page as materialized (
    select d.connector, d.number, d.code, d.cavity, d.rank, d.performed_at, d.recorded_at, d.bench, d.asset, d.zone, d."position",
           d.family, d.part_number
    from tinebook.open_discrepancy as d
    where ($1::smallint is null
           or (d.rank, d.recorded_at, d.connector, d.number, d.code, d.cavity)
              > ($1::smallint, $2::timestamptz, $3::uuid, $4::integer, $5::text, $6::text))
      and ($8::text is null or d.code = $8::text)
      and ($9::smallint is null or d.rank = $9::smallint)
      and ($10::uuid is null or d.connector = $10::uuid)
      and ($11::text is null or d.asset = $11::text)
      and ($12::text is null or d.zone = $12::text)
      and ($13::text is null or d."position" = $13::text)
      and ($14::text is null or d.family = $14::text)
      and ($15::text is null or d.part_number = $15::text)
      and ($16::text is null or d.bench = $16::text)
    order by d.rank, d.recorded_at, d.connector, d.number, d.code, d.cavity
    limit $7::integer
)
select d.connector, c.serial, d.number, d.code, d.cavity, d.rank, d.performed_at, d.recorded_at, d.bench, d.asset, d.zone,
       d."position", d.family, d.part_number, e.hash, e.body
from page as d
join tinebook.connector as c on c.connector = d.connector
join tinebook.entry as e on e.connector = d.connector and e.number = d.number
order by d.rank, d.recorded_at, d.connector, d.number, d.code, d.cavity;

-- name: neighbours
-- What happened next to these entries, at the same cavity or at the connector as a whole: two before and two after.
select w.place, n.earlier, n.number, n.hash, n.body
from unnest($1::integer[], $2::uuid[], $3::text[], $4::timestamptz[], $5::integer[])
    as w (place, connector, cavity, performed_at, number)
cross join lateral (
    (
        select true as earlier, e.number, e.hash, e.body
        from tinebook.entry as e
        where e.connector = w.connector
          and (w.cavity = '' or e.cavity is null or e.cavity = w.cavity)
          and (e.performed_at, e.number) < (w.performed_at, w.number)
        order by e.performed_at desc, e.number desc
        limit 2
    )
    union all
    (
        select false as earlier, e.number, e.hash, e.body
        from tinebook.entry as e
        where e.connector = w.connector
          and (w.cavity = '' or e.cavity is null or e.cavity = w.cavity)
          and (e.performed_at, e.number) > (w.performed_at, w.number)
        order by e.performed_at, e.number
        limit 2
    )
) as n;

-- name: doubles
-- Which connectors may be on the books twice: the same serial, and nothing else that tells them apart.
select c.connector, o.connector as other
from tinebook.connector as c
join tinebook.connector as o
  on o.serial = c.serial and o.connector <> c.connector
 and (o.cage = c.cage or o.cage is null or c.cage is null)
 and (o.part_number = c.part_number or o.part_number is null or c.part_number is null)
where c.connector = any($1::uuid[]) and c.serial <> ''
order by c.connector, o.connector;

-- name: ledger_of
-- A connector's whole ledger in the order of recording.
select e.number, e.id, e.hash, e.body
from tinebook.entry as e
where e.connector = $1::uuid
order by e.number;

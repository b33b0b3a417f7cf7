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
-- Add to the groups' counts, in rows of this session's own. In one order, for where two sessions do share rows.
insert into tinebook.wear_sum as s (dimension, parent, name, shard, connectors, within, nearing, spent, over, unknown,
                                    discrepancies)
select dimension, parent, name, pg_backend_pid() % 16, connectors, within, nearing, spent, over, unknown, discrepancies
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
select h.connector, h.definition, h.state, h.bench
from tinebook.head as h
where h.connector > $1::uuid
order by h.connector
limit $2::integer;

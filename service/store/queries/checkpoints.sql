-- Checkpoints over the feed.

-- name: lock_checkpoints
-- One checkpoint at a time.
select pg_advisory_xact_lock(7460014) as locked;

-- name: feed_leaves
-- The leaves of the tree between two positions: what the feed tells, bound to what is recorded in the chains, or to the body.
select f.position,
       sha256('\x00'::bytea
              || convert_to(
                  concat_ws(E'\n', f.position, f.id, f.topic, f.connector, f.number,
                            (extract(epoch from f.recorded_at) * 1000000)::bigint, ''),
                  'UTF8')
              || coalesce(sha256(f.body), e.hash, d.hash, ''::bytea)) as leaf
from tinebook.feed as f
left join tinebook.entry as e
    on f.body is null and e.connector = f.connector and e.number = f.number and f.topic like 'entry.%'
left join tinebook.definition as d
    on f.body is null and d.connector = f.connector and d.number = f.number and f.topic like 'connector.%'
where f.position > $1::bigint and f.position <= $2::bigint
order by f.position;

-- name: keep_checkpoint
-- Keep a checkpoint.
insert into tinebook.checkpoint (size, peaks, body, made_by, made_at)
values ($1::bigint, $2::bytea, $3::bytea, $4::text, $5::timestamptz);

-- name: checkpoints
-- Every checkpoint, the first one first.
select c.size, c.peaks, c.body, c.made_by, c.made_at from tinebook.checkpoint as c order by c.size;

-- name: newest_checkpoint
-- The last one.
select c.size, c.peaks, c.body, c.made_by, c.made_at from tinebook.checkpoint as c order by c.size desc limit 1;

-- name: untold
-- What stands in a ledger, and neither in the feed nor on its way into it.
select x.connector, x.what, x.number
from (
    select e.connector, 'entry' as what, e.number, 'entry.' || e.kind as topic from tinebook.entry as e
    union all
    select d.connector, 'definition', d.number, 'connector.' || case d.number when 1 then 'registered' else 'revised' end
    from tinebook.definition as d
) as x
left join tinebook.feed as f on f.connector = x.connector and f.number = x.number and f.topic = x.topic
left join tinebook.feed_arrival as a on a.connector = x.connector and a.number = x.number and a.topic = x.topic
where f.position is null and a.arrival is null
order by x.connector, x.what, x.number
limit 100;

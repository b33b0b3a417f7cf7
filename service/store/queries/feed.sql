-- The change feed, and the webhooks that are called about it.

-- name: lock_numbering
-- One numberer at a time. Until it commits nobody else gives out a position.
select pg_advisory_xact_lock(7460010);

-- name: any_arrivals
-- Does anything committed wait for its position?
select exists (select from tinebook.feed_arrival) as waiting;

-- name: number_arrivals
-- Give the next positions to what is committed and has none, in the order in which it was written; how many were given?
with gone as (
    delete from tinebook.feed_arrival as a
    -- By their place on the page, so that a long queue is never read for a few of it. Nothing ever moves an arrival.
    where a.ctid = any (array(select w.ctid from tinebook.feed_arrival as w order by w.arrival limit $1::integer))
    returning a.arrival, a.id, a.topic, a.connector, a.number, a.recorded_at, a.body
), numbered as (
    insert into tinebook.feed (position, id, topic, connector, number, recorded_at, body)
    select coalesce((select max(f.position) from tinebook.feed as f), 0) + row_number() over (order by g.arrival),
           g.id, g.topic, g.connector, g.number, g.recorded_at, g.body
    from gone as g
    returning position
)
select count(*) as given from numbered;

-- name: tell
-- Put something that is recorded in this transaction into the feed, under a topic, with a body in JSON.
insert into tinebook.feed_arrival (id, topic, connector, recorded_at, body)
values ($1::uuid, $2::text, $3::uuid, $4::timestamptz, $5::bytea);

-- name: feed_end
-- The last position that was given out.
select coalesce(max(f.position), 0) as position from tinebook.feed as f;

-- name: installation
-- Who this installation is to others.
select i.installation from tinebook.installation as i;

-- name: feed_page
-- What stands after one position and up to another, of these topics and of this connector if they are given, with its body.
select f.position, f.id, f.topic, f.connector, f.recorded_at, coalesce(f.body, e.body, d.body) as body,
       coalesce(e.hash, d.hash) as hash, e.performed_at, c.serial, c.cage, c.part_number
from (
    select w.position, w.id, w.topic, w.connector, w.number, w.recorded_at, w.body
    from tinebook.feed as w
    where w.position > $1::bigint and w.position <= $2::bigint
      and ($3::text[] is null or w.topic like any ($3::text[]))
      and ($4::uuid is null or w.connector = $4::uuid)
    order by w.position
    limit $5::integer
) as f
left join tinebook.entry as e on f.topic like 'entry.%' and e.connector = f.connector and e.number = f.number
left join tinebook.definition as d on f.topic like 'connector.%' and d.connector = f.connector and d.number = f.number
left join tinebook.connector as c on c.connector = f.connector
order by f.position;

-- name: make_webhook
-- Keep a new webhook.
insert into tinebook.webhook (webhook, url, types, connector, state, position, due_at, created_at, created_by)
values ($1::uuid, $2::text, $3::text[], $4::uuid, 'active', $5::bigint, $6::timestamptz, $6::timestamptz, $7::text);

-- name: webhook_by_url
-- Which webhook that has not ended calls this address?
select w.webhook from tinebook.webhook as w where w.url = $1::text and w.state <> 'ended';

-- name: count_webhooks
-- How many webhooks are there that have not ended?
select count(*) as number from tinebook.webhook as w where w.state <> 'ended';

-- name: lock_webhooks
-- One maker of webhooks at a time, so that the limit of their number holds.
select pg_advisory_xact_lock(7460011);

-- name: webhooks
-- All webhooks, or this one, newest first.
select w.webhook, w.url, w.types, w.connector, w.state, w.reason, w.position, w.attempts, w.failing_since, w.due_at,
       w.created_at, w.created_by,
       (select count(*) from tinebook.webhook_secret as s
        where s.webhook = w.webhook and (s.ends_at is null or s.ends_at > $2::timestamptz)) as secrets
from tinebook.webhook as w
where $1::uuid is null or w.webhook = $1::uuid
order by w.created_at desc, w.webhook;

-- name: change_webhook
-- Change a webhook that has not ended; what was under way for its former self no longer counts. It is due at once.
update tinebook.webhook as w
set state = $2::text, reason = null, url = coalesce($3::text, w.url), types = coalesce($4::text[], w.types),
    revision = w.revision + 1, attempts = 0, failing_since = null, due_at = $5::timestamptz
where w.webhook = $1::uuid and w.state <> 'ended'
returning w.webhook;

-- name: replay_webhook
-- Let a webhook that has not ended begin again after a position.
update tinebook.webhook as w
set position = $2::bigint, revision = w.revision + 1, attempts = 0, failing_since = null, due_at = $3::timestamptz
where w.webhook = $1::uuid and w.state <> 'ended'
returning w.webhook;

-- name: end_secrets
-- Let the secrets of a webhook that have no end yet sign until then.
update tinebook.webhook_secret as s
set ends_at = $2::timestamptz
where s.webhook = $1::uuid and (s.ends_at is null or s.ends_at > $2::timestamptz);

-- name: make_secret
-- Keep a new secret of a webhook.
insert into tinebook.webhook_secret (webhook, number, secret, made_at)
select $1::uuid, coalesce(max(s.number), 0) + 1, $2::text, $3::timestamptz
from tinebook.webhook_secret as s
where s.webhook = $1::uuid;

-- name: lock_webhook
-- One webhook that has not ended, locked for a change.
select w.webhook, w.url from tinebook.webhook as w where w.webhook = $1::uuid and w.state <> 'ended' for update;

-- name: secrets
-- What calls of a webhook are signed with now, newest first.
select s.secret
from tinebook.webhook_secret as s
where s.webhook = $1::uuid and (s.ends_at is null or s.ends_at > $2::timestamptz)
order by s.number desc;

-- name: lead_delivering
-- One process of several delivers, as long as its connection lives.
select pg_try_advisory_lock(7460012) as leads;

-- name: webhooks_due
-- Which webhooks have something to be told, and may be called now?
select w.webhook
from tinebook.webhook as w
where w.state = 'active' and w.due_at <= $1::timestamptz
  and w.position < (select coalesce(max(f.position), 0) from tinebook.feed as f);

-- name: webhook_to_call
-- What a call needs to know of a webhook that is due.
select w.url, w.types, w.connector, w.position, w.revision, w.attempts, w.failing_since
from tinebook.webhook as w
where w.webhook = $1::uuid and w.state = 'active' and w.due_at <= $2::timestamptz;

-- name: move_webhook
-- A webhook was told everything up to a position, unless somebody changed it meanwhile.
update tinebook.webhook as w
set position = $3::bigint, attempts = 0, failing_since = null
where w.webhook = $1::uuid and w.revision = $2::integer and w.state = 'active'
returning w.webhook;

-- name: fail_webhook
-- A call failed: when the next may come, or why there is none; unless somebody changed the webhook meanwhile.
update tinebook.webhook as w
set state = $3::text, reason = $4::text, attempts = w.attempts + 1,
    failing_since = coalesce(w.failing_since, $5::timestamptz), due_at = $6::timestamptz
where w.webhook = $1::uuid and w.revision = $2::integer and w.state = 'active'
returning w.webhook;

-- name: log_delivery
-- Keep what came of a call.
insert into tinebook.delivery (webhook, event, type, position, attempt, at, took_ms, outcome, status, detail)
values ($1::uuid, $2::uuid, $3::text, $4::bigint, $5::integer, $6::timestamptz, $7::integer, $8::text, $9::integer, $10::text);

-- name: deliveries
-- A page of a webhook's log, newest first.
select d.delivery, d.event, d.type, d.position, d.attempt, d.at, d.took_ms, d.outcome, d.status, d.detail
from tinebook.delivery as d
where d.webhook = $1::uuid and ($2::bigint is null or d.delivery < $2::bigint)
order by d.delivery desc
limit $3::integer;

-- name: drop_deliveries
-- Drop the lines of the log from before a time.
delete from tinebook.delivery as d where d.at < $1::timestamptz;

-- name: feed_id_at
-- What stands at a position.
select f.id from tinebook.feed as f where f.position = $1::bigint;

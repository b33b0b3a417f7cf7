-- The feed: everything that is recorded, in one order in which nothing is ever put in between; and who is called about it.

-- Who this installation is to others: the source of every event. One row.
create table tinebook.installation (
    only_one boolean not null default true,
    installation uuid not null default gen_random_uuid(),
    constraint installation_key primary key (only_one),
    constraint installation_once check (only_one)
);
insert into tinebook.installation default values;

-- What was recorded and has no position yet. Whoever records writes here in the same transaction, so nothing can be recorded
-- without it; one numberer at a time moves what is committed into the feed. A number that a writer drew itself would not
-- do: who draws early and commits late would appear behind a reader's back.
create table tinebook.feed_arrival (
    arrival bigint generated always as identity,
    id uuid not null,
    topic text not null,
    connector uuid,
    number integer,
    recorded_at timestamptz not null,
    body bytea,
    constraint feed_arrival_key primary key (arrival)
);

-- The feed. Positions have no holes and only ever grow. What stands in a connector's chain is read there; other bodies
-- are kept here, as JSON.
create table tinebook.feed (
    position bigint not null,
    id uuid not null,
    topic text not null,
    connector uuid,
    number integer,
    recorded_at timestamptz not null,
    body bytea,
    constraint feed_key primary key (position)
);
create trigger feed_is_append_only before update or delete on tinebook.feed
    for each row execute function tinebook.refuse_change();
create trigger feed_is_not_truncated before truncate on tinebook.feed
    for each statement execute function tinebook.refuse_change();

-- What was recorded before there was a feed stands at its beginning, each connector's in the order of its chain. (An entry that
-- waited for its connector was recorded before its neighbours.)
insert into tinebook.feed (position, id, topic, connector, number, recorded_at)
select row_number() over (order by p.joined_at, p.connector, p.chain, p.number),
       p.id, p.topic, p.connector, p.number, p.recorded_at
from (
    select gen_random_uuid() as id, case d.number when 1 then 'connector.registered' else 'connector.revised' end as topic,
           d.connector, d.number, d.recorded_at, 0 as chain,
           max(d.recorded_at) over (partition by d.connector order by d.number) as joined_at
    from tinebook.definition as d
    union all
    select e.id, 'entry.' || e.kind, e.connector, e.number, e.recorded_at, 1,
           max(e.recorded_at) over (partition by e.connector order by e.number)
    from tinebook.entry as e
) as p;

create function tinebook.feed_entries() returns trigger language plpgsql as $$
begin
    insert into tinebook.feed_arrival (id, topic, connector, number, recorded_at)
    select n.id, 'entry.' || n.kind, n.connector, n.number, n.recorded_at
    from news as n
    order by n.connector, n.number;
    return null;
end;
$$;
create trigger entry_goes_into_the_feed after insert on tinebook.entry
    referencing new table as news for each statement execute function tinebook.feed_entries();

create function tinebook.feed_definitions() returns trigger language plpgsql as $$
begin
    insert into tinebook.feed_arrival (id, topic, connector, number, recorded_at)
    select gen_random_uuid(), case n.number when 1 then 'connector.registered' else 'connector.revised' end,
           n.connector, n.number, n.recorded_at
    from news as n
    order by n.connector, n.number;
    return null;
end;
$$;
create trigger definition_goes_into_the_feed after insert on tinebook.definition
    referencing new table as news for each statement execute function tinebook.feed_definitions();

-- The body of a parked entry is JSON already: it is put in as it is.
create function tinebook.feed_parked() returns trigger language plpgsql as $$
begin
    insert into tinebook.feed_arrival (id, topic, recorded_at, body)
    select gen_random_uuid(), 'entry.parked', n.recorded_at,
           convert_to('{"mark":' || to_json(n.mark) || ',"reason":' || to_json(n.reason) || ',"recorded":', 'UTF8')
           || n.body || '}'::bytea
    from news as n
    order by n.recorded_at, n.id;
    return null;
end;
$$;
create trigger parked_goes_into_the_feed after insert on tinebook.parked
    referencing new table as news for each statement execute function tinebook.feed_parked();

-- What the shop states: the row as it is, without the long lists, which have operations of their own.
create function tinebook.feed_statements() returns trigger language plpgsql as $$
begin
    insert into tinebook.feed_arrival (id, topic, recorded_at, body)
    select gen_random_uuid(), tg_argv[0], n.recorded_at,
           convert_to((to_jsonb(n) - array['cavities', 'points'])::text, 'UTF8')
    from news as n
    order by n.number;
    return null;
end;
$$;
create trigger house_value_goes_into_the_feed after insert on tinebook.house_value
    referencing new table as news for each statement execute function tinebook.feed_statements('shop.house_value');
create trigger cavity_set_goes_into_the_feed after insert on tinebook.cavity_set
    referencing new table as news for each statement execute function tinebook.feed_statements('shop.cavity_set');
create trigger coordinates_go_into_the_feed after insert on tinebook.coordinates
    referencing new table as news for each statement execute function tinebook.feed_statements('shop.coordinates');

-- Who is called about what is recorded, and how far that has come.
create table tinebook.webhook (
    webhook uuid not null,
    url text not null,
    types text[] not null,
    connector uuid,
    state text not null,
    reason text,
    position bigint not null,
    revision integer not null default 0,
    attempts integer not null default 0,
    failing_since timestamptz,
    due_at timestamptz not null,
    created_at timestamptz not null,
    created_by text not null,
    constraint webhook_key primary key (webhook),
    constraint webhook_in_a_state check (state in ('active', 'paused', 'disabled', 'ended'))
);
create unique index webhook_url_once on tinebook.webhook (url) where state <> 'ended';

-- What calls are signed with. Who signs needs the secret itself, so it is kept as it is: keep backups as safe as these.
create table tinebook.webhook_secret (
    webhook uuid not null,
    number integer not null,
    secret text not null,
    made_at timestamptz not null,
    ends_at timestamptz,
    constraint webhook_secret_key primary key (webhook, number),
    constraint webhook_secret_of_webhook foreign key (webhook) references tinebook.webhook (webhook)
);

-- Each call that was made, and what came of it. A log, not a record: old lines are dropped.
create table tinebook.delivery (
    delivery bigint generated always as identity,
    webhook uuid not null,
    event uuid not null,
    type text not null,
    position bigint,
    attempt integer not null,
    at timestamptz not null,
    took_ms integer not null,
    outcome text not null,
    status integer,
    detail text not null,
    constraint delivery_key primary key (webhook, delivery),
    constraint delivery_of_webhook foreign key (webhook) references tinebook.webhook (webhook)
);
create index delivery_by_time on tinebook.delivery (at);

grant select on tinebook.installation to tinebook_service;
grant select, insert, delete on tinebook.feed_arrival to tinebook_service;
grant select, insert on tinebook.feed to tinebook_service;
grant select, insert, update on tinebook.webhook, tinebook.webhook_secret to tinebook_service;
grant select, insert, delete on tinebook.delivery to tinebook_service;

-- What assets fly and when they come in, as stated, and what the outlook makes of it.

-- What an asset flew up to the end of a day since its row before. Every statement is kept; the newest for a day holds.
create table tinebook.asset_usage (
    asset text not null,
    day date not null,
    number bigint generated always as identity,
    flight_hours double precision,
    flight_cycles integer,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint asset_usage_key primary key (asset, day, number),
    constraint asset_usage_states_something check (flight_hours is not null or flight_cycles is not null)
);

-- When an asset comes in for what. Every statement is kept; the newest of a name holds. Without a day it is called off.
create table tinebook.visit (
    asset text not null,
    name text not null,
    number bigint generated always as identity,
    starts_on date,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint visit_key primary key (asset, name, number)
);

-- A computation of the outlook: written whole in one transaction, or not at all. The newest is served; all are kept.
create table tinebook.outlook_run (
    run bigint not null,
    as_of timestamptz not null,
    computed_at timestamptz not null,
    computed_by text not null,
    body jsonb not null,
    constraint outlook_run_key primary key (run)
);

-- What a run believed of each group of connectors: its prior, what its events touch, and why.
create table tinebook.outlook_group (
    run bigint not null,
    number integer not null,
    body jsonb not null,
    constraint outlook_group_key primary key (run, number),
    constraint outlook_group_of_run foreign key (run) references tinebook.outlook_run (run)
);

-- What a run expects of each part number, in the order of what it needs most.
create table tinebook.outlook_part (
    run bigint not null,
    number integer not null,
    part_number text,
    family text,
    body jsonb not null,
    constraint outlook_part_key primary key (run, number),
    constraint outlook_part_of_run foreign key (run) references tinebook.outlook_run (run)
);

-- What a run says of each connector: a cache, of which the newest two runs are kept. Probabilities stand by horizon; `supposed`
-- only where the history is not known. `entries`: how long its ledger was then, so that it shows whether it has moved on.
create table tinebook.outlook_line (
    connector uuid not null,
    run bigint not null,
    number integer not null,
    entries integer not null,
    band smallint not null,
    due boolean not null,
    probability real[] not null,
    supposed real[],
    days_low real,
    days_middle real,
    days_high real,
    limiting_cavity text,
    remaining integer,
    rating integer,
    rating_verified boolean not null,
    events integer not null,
    units double precision not null,
    constraint outlook_line_key primary key (connector, run)
);
create index outlook_line_not_known on tinebook.outlook_line (run, connector) where band <> 0;
-- Reports ask for horizons of 1, 3, 6, 12, 18 and 24 months, and for nobody who will hardly run out.
create index outlook_line_within_1 on tinebook.outlook_line (run, (probability[1]) desc, connector)
    where band <> 2 and probability[1] >= 0.01;
create index outlook_line_within_3 on tinebook.outlook_line (run, (probability[3]) desc, connector)
    where band <> 2 and probability[3] >= 0.01;
create index outlook_line_within_6 on tinebook.outlook_line (run, (probability[6]) desc, connector)
    where band <> 2 and probability[6] >= 0.01;
create index outlook_line_within_12 on tinebook.outlook_line (run, (probability[12]) desc, connector)
    where band <> 2 and probability[12] >= 0.01;
create index outlook_line_within_18 on tinebook.outlook_line (run, (probability[14]) desc, connector)
    where band <> 2 and probability[14] >= 0.01;
create index outlook_line_within_24 on tinebook.outlook_line (run, (probability[16]) desc, connector)
    where band <> 2 and probability[16] >= 0.01;

create trigger asset_usage_is_append_only before update or delete on tinebook.asset_usage
    for each row execute function tinebook.refuse_change();
create trigger asset_usage_is_not_truncated before truncate on tinebook.asset_usage
    for each statement execute function tinebook.refuse_change();
create trigger visit_is_append_only before update or delete on tinebook.visit
    for each row execute function tinebook.refuse_change();
create trigger visit_is_not_truncated before truncate on tinebook.visit
    for each statement execute function tinebook.refuse_change();
create trigger outlook_run_is_append_only before update or delete on tinebook.outlook_run
    for each row execute function tinebook.refuse_change();
create trigger outlook_run_is_not_truncated before truncate on tinebook.outlook_run
    for each statement execute function tinebook.refuse_change();

grant select, insert on tinebook.asset_usage, tinebook.visit, tinebook.outlook_run, tinebook.outlook_group,
    tinebook.outlook_part to tinebook_service;
grant select, insert, delete on tinebook.outlook_line to tinebook_service;

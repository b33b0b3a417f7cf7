-- What the fleet's reports are read from, kept by each write: a cache of the states, like the list of connectors. They begin
-- empty: run `tinebook rebuild` once where connectors are on the books already.

-- The bench that recorded last at a connector.
alter table tinebook.head add column bench text;

-- The list of connectors is filtered by what a connector is, and by its bench, without a look at other tables.
alter table tinebook.limit_line
    add column unknown_cavities integer default 0 not null,
    add column family text,
    add column part_number text,
    add column bench text;
update tinebook.limit_line as l
set family = c.family, part_number = c.part_number
from tinebook.connector as c
where c.connector = l.connector;
-- squawk-ignore require-concurrent-index-creation
create index limit_line_by_zone on tinebook.limit_line (zone, rank, urgency, connector);
-- squawk-ignore require-concurrent-index-creation
create index limit_line_by_position on tinebook.limit_line ("position", rank, urgency, connector);
-- squawk-ignore require-concurrent-index-creation
create index limit_line_by_family on tinebook.limit_line (family, rank, urgency, connector);
-- squawk-ignore require-concurrent-index-creation
create index limit_line_by_part_number on tinebook.limit_line (part_number, rank, urgency, connector);
-- squawk-ignore require-concurrent-index-creation
create index limit_line_by_bench on tinebook.limit_line (bench, rank, urgency, connector);
-- squawk-ignore require-concurrent-index-creation
create index limit_line_unknown on tinebook.limit_line (connector) where unknown_cavities > 0;

-- The retainers that near their rating, have reached it or are over it. Those of which nothing is known are read from the states.
create table tinebook.worn_cavity (
    connector uuid not null,
    cavity text collate "C" not null,
    rank smallint not null,
    urgency integer not null,
    retainer_life integer not null,
    occupied boolean,
    cycles_begun integer not null,
    cycles_completed integer not null,
    rating integer,
    rating_verified boolean not null,
    remaining integer,
    asset text,
    zone text,
    "position" text,
    family text,
    part_number text,
    bench text,
    constraint worn_cavity_key primary key (connector, cavity)
);
create index worn_cavity_worst_first on tinebook.worn_cavity (rank, urgency, connector, cavity);
create index worn_cavity_by_asset on tinebook.worn_cavity (asset, rank, urgency, connector, cavity);
create index worn_cavity_by_zone on tinebook.worn_cavity (zone, rank, urgency, connector, cavity);
create index worn_cavity_by_position on tinebook.worn_cavity ("position", rank, urgency, connector, cavity);
create index worn_cavity_by_family on tinebook.worn_cavity (family, rank, urgency, connector, cavity);
create index worn_cavity_by_part_number on tinebook.worn_cavity (part_number, rank, urgency, connector, cavity);
create index worn_cavity_by_bench on tinebook.worn_cavity (bench, rank, urgency, connector, cavity);

-- How many connectors, cavities per wear and open discrepancies a group has. Each database session adds to rows of its own
-- (`shard`), so that writers need not wait for each other; a group's figure is the sum of its rows.
create table tinebook.wear_sum (
    dimension text not null,
    parent text collate "C" not null,
    name text collate "C" not null,
    shard smallint not null,
    connectors bigint not null,
    within bigint not null,
    nearing bigint not null,
    spent bigint not null,
    over bigint not null,
    unknown bigint not null,
    discrepancies bigint not null,
    constraint wear_sum_key primary key (dimension, parent, name, shard)
) with (fillfactor = 50);

-- How many cavities of a family and a rating (0: none) have begun how many cycles; sums likewise.
create table tinebook.cycles_sum (
    family text collate "C" not null,
    rating integer not null,
    rating_verified boolean not null,
    cycles_begun integer not null,
    shard smallint not null,
    cavities bigint not null,
    constraint cycles_sum_key primary key (family, rating, rating_verified, cycles_begun, shard)
) with (fillfactor = 50);

-- What was recorded that ought not to have been possible, until somebody resolves it. `bench` is the entry's own.
create table tinebook.open_discrepancy (
    connector uuid not null,
    number integer not null,
    code text collate "C" not null,
    cavity text collate "C" not null,
    entry uuid not null,
    rank smallint not null,
    performed_at timestamptz not null,
    recorded_at timestamptz not null,
    bench text,
    asset text,
    zone text,
    "position" text,
    family text,
    part_number text,
    constraint open_discrepancy_key primary key (connector, number, code, cavity)
);
create index open_discrepancy_worst_first on tinebook.open_discrepancy (rank, recorded_at, connector, number, code, cavity);
create index open_discrepancy_by_asset on tinebook.open_discrepancy (asset, rank, recorded_at);
create index open_discrepancy_by_part_number on tinebook.open_discrepancy (part_number, rank, recorded_at);
create index open_discrepancy_by_bench on tinebook.open_discrepancy (bench, rank, recorded_at);

-- The shop that a bench belongs to.
create table tinebook.bench (
    name text collate "C" not null,
    shop text not null,
    constraint bench_key primary key (name)
);
create index bench_by_shop on tinebook.bench (shop, name);

grant select, insert, update, delete on tinebook.worn_cavity, tinebook.wear_sum, tinebook.cycles_sum, tinebook.open_discrepancy
    to tinebook_service;
grant select, insert, update on tinebook.bench to tinebook_service;

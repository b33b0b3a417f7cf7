-- What a shop holds beside the catalogue: figures of its own, cavity lists, true coordinates. Each is kept for good; the
-- newest holds.

-- A figure of the shop's own, with its document and who verified it. Without a value it is withdrawn.
create table tinebook.house_value (
    number bigint generated always as identity,
    what text not null,
    family text,
    part_number text,
    contact_size text,
    value jsonb,
    document text,
    revision text,
    paragraph text,
    verified_by text,
    verified_on text,
    reason text not null,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint house_value_key primary key (number),
    constraint house_value_of_a_kind
        check (what in ('rating', 'mating_rating', 'nearing_fraction', 'pull', 'tool', 'release')),
    constraint house_value_for_something check (family is not null or part_number is not null),
    constraint house_value_by_size check ((contact_size is not null) = (what in ('pull', 'tool')))
);

-- The cavities of a connector whose arrangement the catalogue does not list: under a part number, or a name of the shop's.
create table tinebook.cavity_set (
    number bigint generated always as identity,
    name text not null,
    cavities jsonb not null,
    source text,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint cavity_set_key primary key (number)
);
create index cavity_set_newest on tinebook.cavity_set (name, number desc);

-- Where the cavities of an arrangement are: millimetres on the mating face of the pin insert, x to the right, y up.
create table tinebook.coordinates (
    number bigint generated always as identity,
    standard text not null,
    arrangement text not null,
    points jsonb not null,
    source text not null,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint coordinates_key primary key (number)
);
create index coordinates_newest on tinebook.coordinates (standard, arrangement, number desc);

create trigger house_value_is_append_only before update or delete on tinebook.house_value
    for each row execute function tinebook.refuse_change();
create trigger house_value_is_not_truncated before truncate on tinebook.house_value
    for each statement execute function tinebook.refuse_change();
create trigger cavity_set_is_append_only before update or delete on tinebook.cavity_set
    for each row execute function tinebook.refuse_change();
create trigger cavity_set_is_not_truncated before truncate on tinebook.cavity_set
    for each statement execute function tinebook.refuse_change();
create trigger coordinates_is_append_only before update or delete on tinebook.coordinates
    for each row execute function tinebook.refuse_change();
create trigger coordinates_is_not_truncated before truncate on tinebook.coordinates
    for each statement execute function tinebook.refuse_change();

grant select, insert on tinebook.house_value, tinebook.cavity_set, tinebook.coordinates to tinebook_service;

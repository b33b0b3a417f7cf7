-- The ledger, its state, and what is looked up beside them.
create schema if not exists tinebook;

-- Who a connector is. One row per registered connector; the rest of what it is stands in its definitions.
create table tinebook.connector (
    connector uuid not null,
    serial text not null,
    cage text,
    part_number text,
    family text,
    registered_at timestamptz not null,
    constraint connector_key primary key (connector),
    constraint connector_known_once unique nulls not distinct (serial, cage, part_number)
);

-- Everything scannable under which a connector is found.
create table tinebook.mark (
    key text not null,
    connector uuid not null,
    constraint mark_key primary key (key, connector),
    constraint mark_of_connector foreign key (connector) references tinebook.connector (connector)
);
create index mark_by_connector on tinebook.mark (connector);

-- What a connector is and what it is judged by: append-only, chained; the last one holds.
create table tinebook.definition (
    connector uuid not null,
    number integer not null,
    recorded_at timestamptz not null,
    body bytea not null,
    hash bytea not null,
    constraint definition_key primary key (connector, number),
    constraint definition_of_connector foreign key (connector) references tinebook.connector (connector),
    constraint definition_hash_is_sha256 check (octet_length(hash) = 32)
);

-- The ledger: append-only, one chain per connector. The body is the RFC 8785 form that was hashed.
create table tinebook.entry (
    connector uuid not null,
    number integer not null,
    id uuid not null,
    kind text not null,
    cavity text,
    performed_at timestamptz not null,
    recorded_at timestamptz not null,
    body bytea not null,
    hash bytea not null,
    constraint entry_key primary key (connector, number),
    constraint entry_hash_is_sha256 check (octet_length(hash) = 32)
);

-- Every id that was ever accepted, with the digest of what came under it: the same id never means two things.
create table tinebook.receipt (
    id uuid not null,
    connector uuid,
    digest bytea not null,
    constraint receipt_once primary key (id)
);

-- The state of each connector: the head of its chain and what the fold gives. A cache of the ledger.
create table tinebook.head (
    connector uuid not null,
    entries integer not null,
    hash bytea not null,
    definition integer not null,
    state bytea not null,
    constraint head_key primary key (connector),
    constraint head_of_connector foreign key (connector) references tinebook.connector (connector)
) with (fillfactor = 70);

-- The connectors that are not within their rating, for the fleet's list. A cache of the state.
-- Rank 0 is the worst wear; urgency is what remains, or the greatest integer where nobody knows.
create table tinebook.limit_line (
    connector uuid not null,
    rank smallint not null,
    urgency integer not null,
    wear text not null,
    limiting_cavity text not null,
    cycles_begun integer not null,
    rating integer,
    rating_verified boolean not null,
    remaining integer,
    worn_cavities integer not null,
    asset text,
    zone text,
    "position" text,
    constraint limit_line_key primary key (connector),
    constraint limit_line_of_connector foreign key (connector) references tinebook.connector (connector)
);
create index limit_line_worst_first on tinebook.limit_line (rank, urgency, connector);
create index limit_line_by_asset on tinebook.limit_line (asset, rank, urgency, connector);

-- Entries whose connector is not known (yet). They keep their id and times and join the ledger when it is.
create table tinebook.parked (
    id uuid not null,
    mark text not null,
    reason text not null,
    recorded_at timestamptz not null,
    digest bytea not null,
    body bytea not null,
    joined uuid,
    constraint parked_key primary key (id)
);
create index parked_waiting on tinebook.parked (recorded_at, id) where joined is null;

create table tinebook.parked_mark (
    key text not null,
    id uuid not null,
    constraint parked_mark_key primary key (key, id),
    constraint parked_mark_of_parked foreign key (id) references tinebook.parked (id)
);

-- What opens the API: only the SHA-256 of a token is kept.
create table tinebook.token (
    token uuid not null,
    name text not null,
    scopes text[] not null,
    digest bytea not null,
    created_at timestamptz not null,
    expires_at timestamptz not null,
    revoked_at timestamptz,
    constraint token_key primary key (token),
    constraint token_digest_once unique (digest)
);

-- The shop's own lists. An empty list means that the shop does not keep it here, and nobody is unknown by it.
create table tinebook.person (
    badge text not null,
    name text not null,
    constraint person_key primary key (badge)
);

create table tinebook.tool (
    mark text not null,
    part_number text not null,
    constraint tool_key primary key (mark)
);

-- Nothing in the ledger is changed or deleted, by anybody. 23001 is restrict_violation.
create function tinebook.refuse_change() returns trigger language plpgsql as $$
begin
    raise exception '% of tinebook.% is refused: the ledger is append-only', tg_op, tg_table_name
        using errcode = '23001', hint = 'Record a correction instead.';
end;
$$;

create trigger entry_is_append_only before update or delete on tinebook.entry
    for each row execute function tinebook.refuse_change();
create trigger entry_is_not_truncated before truncate on tinebook.entry
    for each statement execute function tinebook.refuse_change();
create trigger definition_is_append_only before update or delete on tinebook.definition
    for each row execute function tinebook.refuse_change();
create trigger definition_is_not_truncated before truncate on tinebook.definition
    for each statement execute function tinebook.refuse_change();
create trigger receipt_is_append_only before update or delete on tinebook.receipt
    for each row execute function tinebook.refuse_change();
create trigger receipt_is_not_truncated before truncate on tinebook.receipt
    for each statement execute function tinebook.refuse_change();

-- The service's own role can read and append, and keep the state; it can't alter the ledger, nor make tokens.
do $$
begin
    if not exists (select from pg_roles where rolname = 'tinebook_service') then
        create role tinebook_service login;
    end if;
end;
$$;
grant usage on schema tinebook to tinebook_service;
grant select, insert on tinebook.connector, tinebook.mark, tinebook.definition, tinebook.entry, tinebook.receipt
    to tinebook_service;
grant select, insert, update on tinebook.head, tinebook.person, tinebook.tool to tinebook_service;
grant select, insert, update, delete on tinebook.limit_line to tinebook_service;
grant select, insert on tinebook.parked, tinebook.parked_mark to tinebook_service;
grant update (joined, reason) on tinebook.parked to tinebook_service;
grant select on tinebook.token, tinebook.migration to tinebook_service;

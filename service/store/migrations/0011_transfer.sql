-- Connectors that go to another owner with their whole ledger, and those that come. What went and came is kept as it was.

-- Who signs what goes out. Who signs needs the key itself, so it is kept as it is: keep backups as safe as these. The newest signs.
create table tinebook.transfer_key (
    number bigint generated always as identity,
    private_key bytea not null,
    public_key bytea not null,
    made_by text not null,
    made_at timestamptz not null,
    constraint transfer_key_key primary key (number),
    constraint transfer_key_once unique (public_key),
    constraint transfer_key_is_ed25519 check (octet_length(private_key) = 32 and octet_length(public_key) = 32)
);

-- Whose bundles are taken in, as an administrator says; the newest statement about a key holds.
create table tinebook.trusted_sender (
    number bigint generated always as identity,
    public_key bytea not null,
    name text not null,
    trusted boolean not null,
    reason text not null,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint trusted_sender_key primary key (number),
    constraint trusted_sender_is_ed25519 check (octet_length(public_key) = 32),
    constraint trusted_sender_named check (name <> '' and reason <> '')
);
create index trusted_sender_newest on tinebook.trusted_sender (public_key, number desc);

-- Each connector that went out or came in, with the bundle. The newest line of a connector says whether it is here.
create table tinebook.transfer (
    number bigint generated always as identity,
    id uuid not null,
    direction text not null,
    connector uuid not null,
    definitions integer not null,
    entries integer not null,
    hash bytea not null,
    party text not null,
    installation uuid,
    public_key bytea not null,
    reason text not null,
    recorded_by text not null,
    recorded_at timestamptz not null,
    sha256 bytea not null,
    bundle bytea not null,
    constraint transfer_key_of_line primary key (number),
    constraint transfer_once unique (id, direction),
    constraint transfer_of_connector foreign key (connector) references tinebook.connector (connector),
    constraint transfer_in_a_direction check (direction in ('out', 'in')),
    constraint transfer_of_this_bundle check (sha256 = sha256(bundle)),
    constraint transfer_hash_is_sha256 check (octet_length(hash) = 32)
);
create index transfer_by_connector on tinebook.transfer (connector, number desc);

-- Whether a connector has left. A cache of the lines above, beside the state, so that whoever locks a head knows.
alter table tinebook.head add column handed_over boolean not null default false;

create trigger transfer_key_is_append_only before update or delete on tinebook.transfer_key
    for each row execute function tinebook.refuse_change();
create trigger transfer_key_is_not_truncated before truncate on tinebook.transfer_key
    for each statement execute function tinebook.refuse_change();
create trigger trusted_sender_is_append_only before update or delete on tinebook.trusted_sender
    for each row execute function tinebook.refuse_change();
create trigger trusted_sender_is_not_truncated before truncate on tinebook.trusted_sender
    for each statement execute function tinebook.refuse_change();
create trigger transfer_is_append_only before update or delete on tinebook.transfer
    for each row execute function tinebook.refuse_change();
create trigger transfer_is_not_truncated before truncate on tinebook.transfer
    for each statement execute function tinebook.refuse_change();

grant select, insert on tinebook.transfer_key, tinebook.trusted_sender, tinebook.transfer to tinebook_service;

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

-- Whether an entry was recorded by another owner: it came in, and did not go out from here before.
create function tinebook.recorded_elsewhere(connector uuid, number integer) returns boolean language sql stable as $$
    select exists (
        select from tinebook.transfer as came
        where came.connector = recorded_elsewhere.connector and came.direction = 'in'
          and recorded_elsewhere.number <= came.entries
          and recorded_elsewhere.number > coalesce((
              select max(went.entries) from tinebook.transfer as went
              where went.connector = came.connector and went.direction = 'out' and went.number < came.number), 0)
    )
$$;

-- The work that a subject is about, as before, without what other owners did under a work order of theirs: it may have the same
-- number as one of ours.
create or replace function tinebook.signed_work(subject text, reference text)
returns table (
    connector uuid, entry uuid, kind text, performed_by text, happened_at timestamptz, bench text, is_void boolean
)
language sql stable as $$
    select e.connector, e.id, e.kind, tinebook.stated(e.body, 'performed_by'), least(e.performed_at, e.recorded_at),
           tinebook.stated(e.body, 'bench'),
           exists (select from tinebook.entry as c
                   where c.kind = 'correction' and c.connector = e.connector
                     and tinebook.stated(c.body, 'corrects') = e.id::text
                     and tinebook.stated(c.body, 'note') <> '')
    from tinebook.entry as e
    where signed_work.subject = 'work_order'
      and position('"work_order":"'::bytea in e.body) > 0
      and split_part(split_part(encode(e.body, 'escape'), '"work_order":"', 2), '"', 1)
          = split_part(encode(convert_to(to_json(signed_work.reference)::text, 'UTF8'), 'escape'), '"', 2)
      and tinebook.stated(e.body, 'work_order') = signed_work.reference
      and not tinebook.recorded_elsewhere(e.connector, e.number)
      and e.kind not in ('acceptance', 'correction', 'finding', 'resolution')
    union all
    select e.connector, e.id, e.kind, tinebook.stated(e.body, 'performed_by'), least(e.performed_at, e.recorded_at),
           tinebook.stated(e.body, 'bench'),
           exists (select from tinebook.entry as c
                   where c.kind = 'correction' and c.connector = e.connector
                     and tinebook.stated(c.body, 'corrects') = e.id::text
                     and tinebook.stated(c.body, 'note') <> '')
    from unnest(case when signed_work.subject = 'entries' then string_to_array(signed_work.reference, ',')::uuid[] end) as n (id)
    join tinebook.receipt as r on r.id = n.id
    join tinebook.entry as e on e.connector = r.connector and e.id = r.id
    where e.kind not in ('acceptance', 'correction', 'finding', 'resolution')
$$;

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

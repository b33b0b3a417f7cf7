-- Work orders as they were stated, each version kept; and the records that were made of those that were closed.

-- What is to be done, by the shop or its planning system. How far it has come is nowhere set: it follows from the entries.
create table tinebook.work_order (
    number text collate "C" not null,
    version integer not null,
    title text not null,
    description text,
    asset text,
    document text,
    revision text,
    task text,
    inspection_required boolean not null,
    steps jsonb not null,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint work_order_key primary key (number, version),
    constraint work_order_versions_begin_at_one check (version >= 1)
);
create index work_order_first_ones on tinebook.work_order (recorded_at desc, number desc) where version = 1;
create index work_order_by_asset on tinebook.work_order (asset, number) where asset is not null;

-- The record of closed work: numbered without gaps, its content the RFC 8785 bytes that were hashed. One that was wrong stays as
-- it is; the one that corrects it points to it. One record for one approval.
create table tinebook.record (
    number bigint not null,
    id uuid not null,
    work_order text collate "C" not null,
    corrects bigint,
    approval uuid not null,
    canonical bytea not null,
    sha256 bytea not null,
    made_by text not null,
    made_at timestamptz not null,
    constraint record_key primary key (number),
    constraint record_id_once unique (id),
    constraint record_numbers_begin_at_one check (number >= 1),
    constraint record_of_what_it_states check (sha256 = sha256(canonical)),
    constraint record_corrects_an_earlier_one check (corrects < number),
    constraint record_corrected_once unique (corrects),
    constraint record_of_one_approval unique (approval),
    constraint record_corrects_a_record foreign key (corrects) references tinebook.record (number)
);
create index record_by_work_order on tinebook.record (work_order, number);

-- The numbers have no gaps: whoever makes a record waits for the one before it, and a number out of turn is refused.
-- 23514 is check_violation.
create function tinebook.refuse_gap() returns trigger language plpgsql as $$
begin
    perform pg_advisory_xact_lock(7460020);
    if new.number <> (select coalesce(max(r.number), 0) + 1 from tinebook.record as r) then
        raise exception 'record % is out of turn', new.number
            using errcode = '23514', constraint = 'record_numbers_have_no_gaps';
    end if;
    return new;
end;
$$;
create trigger record_numbers_have_no_gaps before insert on tinebook.record
    for each row execute function tinebook.refuse_gap();

create trigger work_order_is_append_only before update or delete on tinebook.work_order
    for each row execute function tinebook.refuse_change();
create trigger work_order_is_not_truncated before truncate on tinebook.work_order
    for each statement execute function tinebook.refuse_change();
create trigger record_is_append_only before update or delete on tinebook.record
    for each row execute function tinebook.refuse_change();
create trigger record_is_not_truncated before truncate on tinebook.record
    for each statement execute function tinebook.refuse_change();

-- Work that was recorded on connectors which nobody has registered yet must not be missed when its order is signed.
-- squawk-ignore require-concurrent-index-creation
create index parked_by_work_order on tinebook.parked
    (split_part(split_part(encode(body, 'escape'), '"work_order":"', 2), '"', 1))
    where joined is null and position('"work_order":"'::bytea in body) > 0;

grant select, insert on tinebook.work_order, tinebook.record to tinebook_service;

-- Checkpoints: signed words on everything that the feed tells of, up to a position. The key that signs is never in here.

create table tinebook.checkpoint (
    size bigint not null,
    peaks bytea not null,
    body bytea not null,
    made_by text not null,
    made_at timestamptz not null,
    constraint checkpoint_key primary key (size),
    constraint checkpoint_of_something check (size > 0),
    constraint checkpoint_peaks_are_hashes check (octet_length(peaks) > 0 and octet_length(peaks) % 32 = 0)
);
create trigger checkpoint_is_append_only before update or delete on tinebook.checkpoint
    for each row execute function tinebook.refuse_change();
create trigger checkpoint_is_not_truncated before truncate on tinebook.checkpoint
    for each statement execute function tinebook.refuse_change();
grant select, insert on tinebook.checkpoint to tinebook_service;

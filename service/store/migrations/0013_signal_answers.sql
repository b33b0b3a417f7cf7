-- The newest answer to each question of the signals about the whole fleet: a cache for fleets of which the ledger takes long to
-- read, made once a day.
create table tinebook.signal_answer (
    about text not null,
    until timestamptz not null,
    took_s double precision not null,
    body bytea not null,
    constraint signal_answer_key primary key (about)
);
grant select, insert, update on tinebook.signal_answer to tinebook_service;

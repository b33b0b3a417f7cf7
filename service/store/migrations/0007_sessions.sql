-- Who has signed in to the pages. Only the SHA-256 of what the browser holds is kept. A session that a token began ends
-- with that token; one that an identity provider vouched for has a name and scopes of its own.
create table tinebook.session (
    digest bytea not null,
    token uuid,
    name text not null,
    scopes text[] not null,
    began_at timestamptz not null,
    expires_at timestamptz not null,
    constraint session_key primary key (digest),
    constraint session_of_token foreign key (token) references tinebook.token (token)
);
-- squawk-ignore require-concurrent-index-creation
create index session_by_end on tinebook.session (expires_at);
grant select, insert, delete on tinebook.session to tinebook_service;

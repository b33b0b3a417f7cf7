-- Tokens and the shop's own lists.

-- name: token_by_digest
-- Whose token is this?
select t.name, t.scopes, t.expires_at, t.revoked_at
from tinebook.token as t
where t.digest = $1::bytea;

-- name: make_token
-- Keep the digest of a new token.
insert into tinebook.token (token, name, scopes, digest, created_at, expires_at)
values ($1::uuid, $2::text, $3::text[], $4::bytea, $5::timestamptz, $6::timestamptz);

-- name: revoke_tokens
-- Shut every token of that name or id.
update tinebook.token as t
set revoked_at = $2::timestamptz
where (t.name = $1::text or t.token::text = $1::text) and t.revoked_at is null
returning t.token;

-- name: tokens
-- All tokens, newest first.
select t.token, t.name, t.scopes, t.created_at, t.expires_at, t.revoked_at
from tinebook.token as t
order by t.created_at desc, t.token;

-- name: people
-- The shop's people.
select p.badge from tinebook.person as p;

-- name: tools
-- The shop's tools.
select t.mark, t.part_number, t.due_on from tinebook.tool as t;

-- name: tool_page
-- A page of the shop's tools, by mark.
select t.mark, t.part_number, t.due_on
from tinebook.tool as t
where $1::text is null or t.mark > $1::text
order by t.mark
limit $2::integer;

-- name: put_person
-- Add a person to the list, or rename one.
insert into tinebook.person (badge, name) values ($1::text, $2::text)
on conflict on constraint person_key do update set name = excluded.name;

-- name: put_tool
-- Add a tool to the list, or change what it is.
insert into tinebook.tool (mark, part_number, due_on) values ($1::text, $2::text, $3::date)
on conflict on constraint tool_key do update set part_number = excluded.part_number, due_on = excluded.due_on;

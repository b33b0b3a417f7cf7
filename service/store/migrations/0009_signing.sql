-- People with their authority, and what they signed.
select 1;

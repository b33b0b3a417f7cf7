-- Connectors that came from, or went to, another owner.
select 1;

-- Work orders and the records made of them.
select 1;

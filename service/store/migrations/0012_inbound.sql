-- What another system keeps in step here.
select 1;

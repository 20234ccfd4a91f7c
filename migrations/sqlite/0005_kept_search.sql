-- Searches that people kept under a name. One that is no longer wanted is hidden, not deleted.

create table kept_search (
    id integer primary key check (id > 0),
    name text not null check (length(name) > 0),
    query text not null check (length(query) > 0),
    site text references site (code),
    at integer not null,
    hidden_at integer
) strict;

create trigger kept_search_is_kept before delete on kept_search
begin
    select raise(abort, 'a kept search is hidden, never deleted');
end;

create trigger kept_search_is_final before update of id, name, query, site, at on kept_search
begin
    select raise(abort, 'a kept search is never changed; keep another');
end;

insert into counter (name, value) values ('kept_search', 0);

-- What the money of a grant is for, in IATI data.
alter table funding add column sectors jsonb not null default '[]';
alter table funding alter column sectors drop default;
grant update (sectors) on funding to shoalbook_service;
comment on column funding.sectors is 'codes of the OECD''s Development Assistance Committee, in thousandths of a percent; none: fishery development';

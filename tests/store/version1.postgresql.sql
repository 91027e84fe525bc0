SET statement_timeout = 0;
SET lock_timeout = 0;
SET idle_in_transaction_session_timeout = 0;
SET client_encoding = 'UTF8';
SET standard_conforming_strings = on;
SELECT pg_catalog.set_config('search_path', '', false);
SET check_function_bodies = false;
SET xmloption = content;
SET client_min_messages = warning;
SET row_security = off;
SET default_tablespace = '';
SET default_table_access_method = heap;
CREATE TABLE public.change (
    id bigint NOT NULL,
    sweep_id bigint NOT NULL,
    unit_id bigint NOT NULL,
    before character varying(8),
    after character varying(8) NOT NULL,
    at_s double precision NOT NULL,
    confirmed_s double precision NOT NULL,
    root_kind character varying(16) NOT NULL,
    root_name text NOT NULL,
    reason text NOT NULL,
    held text
);
CREATE SEQUENCE public.change_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE public.change_id_seq OWNED BY public.change.id;
CREATE TABLE public.delivery (
    message_id bigint NOT NULL,
    teller character varying(16) NOT NULL,
    attempts integer NOT NULL,
    next_s double precision NOT NULL,
    told_s double precision,
    fault text
);
CREATE TABLE public.hour (
    hour_s bigint NOT NULL,
    unit_id bigint NOT NULL,
    sweeps integer NOT NULL,
    sound_s double precision NOT NULL,
    impaired_s double precision NOT NULL,
    silent_s double precision NOT NULL,
    untested_s double precision NOT NULL,
    answered_s double precision NOT NULL,
    unanswered_s double precision NOT NULL,
    rtt_median_ms double precision,
    rtt_max_ms double precision,
    loss_mean_pct double precision
);
CREATE TABLE public.hour_level (
    hour_s bigint NOT NULL,
    unit_id bigint NOT NULL,
    carrier integer NOT NULL,
    "end" character varying(1) NOT NULL,
    samples integer NOT NULL,
    min_dbm double precision NOT NULL,
    median_dbm double precision NOT NULL,
    max_dbm double precision NOT NULL
);
CREATE TABLE public.hour_port (
    hour_s bigint NOT NULL,
    unit_id bigint NOT NULL,
    port text NOT NULL,
    in_added bigint NOT NULL,
    out_added bigint NOT NULL
);
CREATE TABLE public.level (
    sweep_id bigint NOT NULL,
    unit_id bigint NOT NULL,
    carrier integer NOT NULL,
    "end" character varying(1) NOT NULL,
    rx_level_dbm double precision NOT NULL
);
CREATE TABLE public.memory (
    unit_id bigint NOT NULL,
    state character varying(8) NOT NULL,
    since_s double precision NOT NULL,
    told character varying(8) NOT NULL,
    root_kind character varying(16) NOT NULL,
    root_name text NOT NULL,
    pending character varying(8),
    pending_n integer NOT NULL,
    pending_since_s double precision,
    recent text NOT NULL,
    reason text NOT NULL,
    try_first text NOT NULL
);
CREATE TABLE public.message (
    id bigint NOT NULL,
    notice_id character varying(96) NOT NULL,
    created_s double precision NOT NULL,
    body text NOT NULL
);
CREATE SEQUENCE public.message_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE public.message_id_seq OWNED BY public.message.id;
CREATE TABLE public.meta (
    key character varying(64) NOT NULL,
    value text NOT NULL
);
CREATE TABLE public.port (
    unit_id bigint NOT NULL,
    port text NOT NULL,
    in_errors bigint NOT NULL,
    out_errors bigint NOT NULL,
    uptime_s double precision
);
CREATE TABLE public.port_errors (
    sweep_id bigint NOT NULL,
    unit_id bigint NOT NULL,
    port text NOT NULL,
    in_added bigint NOT NULL,
    out_added bigint NOT NULL
);
CREATE TABLE public.reading (
    sweep_id bigint NOT NULL,
    unit_id bigint NOT NULL,
    state character varying(8) NOT NULL,
    answered integer,
    rtt_ms double precision,
    loss_pct double precision,
    uptime_s double precision,
    root_kind character varying(16),
    root_name text,
    reasons text
);
CREATE TABLE public.sweep (
    id bigint NOT NULL,
    key character varying(64) NOT NULL,
    started_s double precision NOT NULL,
    took_s double precision NOT NULL,
    valid_s double precision NOT NULL,
    skipped integer NOT NULL,
    clock_step_s double precision,
    plan_name text NOT NULL,
    plan_revision text,
    plan_sha256 character varying(64) NOT NULL,
    tool_version character varying(32) NOT NULL,
    kept character varying(8) NOT NULL
);
CREATE SEQUENCE public.sweep_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE public.sweep_id_seq OWNED BY public.sweep.id;
CREATE TABLE public.unit (
    id bigint NOT NULL,
    kind character varying(16) NOT NULL,
    name text NOT NULL
);
CREATE SEQUENCE public.unit_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE public.unit_id_seq OWNED BY public.unit.id;
ALTER TABLE ONLY public.change ALTER COLUMN id SET DEFAULT nextval('public.change_id_seq'::regclass);
ALTER TABLE ONLY public.message ALTER COLUMN id SET DEFAULT nextval('public.message_id_seq'::regclass);
ALTER TABLE ONLY public.sweep ALTER COLUMN id SET DEFAULT nextval('public.sweep_id_seq'::regclass);
ALTER TABLE ONLY public.unit ALTER COLUMN id SET DEFAULT nextval('public.unit_id_seq'::regclass);
INSERT INTO public.change VALUES (1, 1, 1, 'sound', 'silent', 1795500000, 1795500300, 'device', 'quarry-lighthouse', 'echo.reply: none', 'mast work');
INSERT INTO public.delivery VALUES (1, 'lines', 0, 0, NULL, NULL);
INSERT INTO public.level VALUES (1, 2, 1, 'a', -45.5);
INSERT INTO public.level VALUES (1, 2, 1, 'b', -46.25);
INSERT INTO public.memory VALUES (1, 'impaired', 1795500000, 'impaired', 'device', 'lighthouse-quarry', NULL, 0, NULL, '', '', '');
INSERT INTO public.message VALUES (1, 'n-1', 1795500000, '{"format": "plan-verifier/change/1", "id": "n-1", "network": "Harbour ring", "at": "2026-11-24T06:05:00.000Z", "root": {"kind": "device", "name": "lighthouse-quarry"}, "changes": [{"unit": {"kind": "device", "name": "lighthouse-quarry"}, "before": "sound", "after": "silent", "since": "2026-11-24T06:00:00.000Z", "reason": "r", "try_first": "", "held": null}], "text": "lighthouse-quarry is silent (was sound): Größe"}');
INSERT INTO public.meta VALUES ('schema', '1');
INSERT INTO public.port VALUES (1, 'eth1', 12, 0, 77.5);
INSERT INTO public.port VALUES (1, 'eth2', 0, 4294967295, 77.5);
INSERT INTO public.port_errors VALUES (1, 1, 'eth1', 3, 1);
INSERT INTO public.reading VALUES (1, 1, 'impaired', 1, 1.25, 20, 77.5, 'link', 'Hop 1', '[{"check": "port.speed", "verdict": "fail", "text": "eth1: slower than planned"}]');
INSERT INTO public.reading VALUES (1, 2, 'sound', 1, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO public.reading VALUES (2, 1, 'impaired', 1, 1.25, 20, 77.5, 'link', 'Hop 1', '[{"check": "port.speed", "verdict": "fail", "text": "eth1: slower than planned"}]');
INSERT INTO public.reading VALUES (2, 3, 'sound', 1, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO public.sweep VALUES (1, 'key-2', 1795500000, 1.5, 900, 0, NULL, '', NULL, '', '', 'open');
INSERT INTO public.sweep VALUES (2, 'key-3', 1795500300, 1.5, 900, 0, NULL, '', NULL, '', '', 'open');
INSERT INTO public.unit VALUES (1, 'device', 'lighthouse-quarry');
INSERT INTO public.unit VALUES (2, 'link', 'Hop 1');
INSERT INTO public.unit VALUES (3, 'device', 'quarry-lighthouse');
SELECT pg_catalog.setval('public.change_id_seq', 1, true);
SELECT pg_catalog.setval('public.message_id_seq', 1, true);
SELECT pg_catalog.setval('public.sweep_id_seq', 2, true);
SELECT pg_catalog.setval('public.unit_id_seq', 3, true);
ALTER TABLE ONLY public.change
    ADD CONSTRAINT change_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.delivery
    ADD CONSTRAINT delivery_pkey PRIMARY KEY (message_id, teller);
ALTER TABLE ONLY public.hour_level
    ADD CONSTRAINT hour_level_pkey PRIMARY KEY (hour_s, unit_id, carrier, "end");
ALTER TABLE ONLY public.hour
    ADD CONSTRAINT hour_pkey PRIMARY KEY (hour_s, unit_id);
ALTER TABLE ONLY public.hour_port
    ADD CONSTRAINT hour_port_pkey PRIMARY KEY (hour_s, unit_id, port);
ALTER TABLE ONLY public.level
    ADD CONSTRAINT level_pkey PRIMARY KEY (sweep_id, unit_id, carrier, "end");
ALTER TABLE ONLY public.memory
    ADD CONSTRAINT memory_pkey PRIMARY KEY (unit_id);
ALTER TABLE ONLY public.message
    ADD CONSTRAINT message_notice_id_key UNIQUE (notice_id);
ALTER TABLE ONLY public.message
    ADD CONSTRAINT message_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.meta
    ADD CONSTRAINT meta_pkey PRIMARY KEY (key);
ALTER TABLE ONLY public.port_errors
    ADD CONSTRAINT port_errors_pkey PRIMARY KEY (sweep_id, unit_id, port);
ALTER TABLE ONLY public.port
    ADD CONSTRAINT port_pkey PRIMARY KEY (unit_id, port);
ALTER TABLE ONLY public.reading
    ADD CONSTRAINT reading_pkey PRIMARY KEY (sweep_id, unit_id);
ALTER TABLE ONLY public.sweep
    ADD CONSTRAINT sweep_key_key UNIQUE (key);
ALTER TABLE ONLY public.sweep
    ADD CONSTRAINT sweep_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.unit
    ADD CONSTRAINT unit_kind_name_key UNIQUE (kind, name);
ALTER TABLE ONLY public.unit
    ADD CONSTRAINT unit_pkey PRIMARY KEY (id);
CREATE INDEX change_unit ON public.change USING btree (unit_id, id);
CREATE INDEX delivery_waiting ON public.delivery USING btree (teller, told_s, message_id);
CREATE INDEX hour_level_unit ON public.hour_level USING btree (unit_id, hour_s);
CREATE INDEX hour_port_unit ON public.hour_port USING btree (unit_id, hour_s);
CREATE INDEX hour_unit ON public.hour USING btree (unit_id, hour_s);
CREATE INDEX level_unit ON public.level USING btree (unit_id, sweep_id);
CREATE INDEX port_errors_unit ON public.port_errors USING btree (unit_id, sweep_id);
CREATE INDEX reading_unit ON public.reading USING btree (unit_id, sweep_id);
CREATE INDEX sweep_kept ON public.sweep USING btree (kept, id);
ALTER TABLE ONLY public.change
    ADD CONSTRAINT change_unit_id_fkey FOREIGN KEY (unit_id) REFERENCES public.unit(id);
ALTER TABLE ONLY public.delivery
    ADD CONSTRAINT delivery_message_id_fkey FOREIGN KEY (message_id) REFERENCES public.message(id);
ALTER TABLE ONLY public.memory
    ADD CONSTRAINT memory_unit_id_fkey FOREIGN KEY (unit_id) REFERENCES public.unit(id);

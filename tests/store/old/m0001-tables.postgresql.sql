CREATE TABLE public.alembic_version (
    version_num character varying(32) NOT NULL
);
CREATE TABLE public.head (
    id integer NOT NULL,
    sequence bigint NOT NULL,
    digest bytea NOT NULL,
    reading bigint NOT NULL
);
CREATE TABLE public.readings (
    id bigint NOT NULL,
    stream integer NOT NULL,
    taken_at bigint NOT NULL,
    "offset" smallint NOT NULL,
    file bigint NOT NULL,
    "row" bigint NOT NULL,
    value double precision,
    bound smallint NOT NULL,
    word text NOT NULL,
    reference double precision,
    instrument text NOT NULL,
    technician text NOT NULL,
    shift text NOT NULL,
    note text NOT NULL,
    other text NOT NULL,
    entry bigint NOT NULL,
    digest bytea NOT NULL
);
CREATE TABLE public.streams (
    id integer NOT NULL,
    line text NOT NULL,
    "check" text NOT NULL,
    "position" text NOT NULL,
    unit text NOT NULL
);
CREATE TABLE public.trail (
    sequence bigint NOT NULL,
    at bigint NOT NULL,
    who text NOT NULL,
    kind text NOT NULL,
    subject text NOT NULL,
    body text NOT NULL,
    digest bytea NOT NULL
);
INSERT INTO public.alembic_version VALUES ('m0001');
INSERT INTO public.head VALUES (1, 10, '\x0618e5a1d7fa84f9395e3971a0f0499a3df646406cf34c5dbb2825ec72b09840', 6);
INSERT INTO public.readings VALUES (1, 1, 1741068600000000, 0, 1, 2, 0.21, 0, '', NULL, 'tube-03', 'ktl', 'A', '', '{"lot":"7"}', 2, '\x03fdf30c48078f5ba5b6df347fcb44f11d1d234b855711e7065c180534ed496f');
INSERT INTO public.readings VALUES (2, 1, 1741093800000000, 60, 1, 3, 0.19, 0, '', NULL, 'tube-03', 'ktl', 'B', 'low, "topped up" later', '', 2, '\xad524881ffd9097d01c7b2e0810105e9a0d757ad81da0e2a5e139fbd69f0dde6');
INSERT INTO public.readings VALUES (3, 1, 1741155000000000, 0, 1, 4, 0.05, -1, '', NULL, 'tube-03', 'ktl', 'A', '', '{"lot":"8"}', 2, '\xdf83346da51b0c626c9bd3358d1c4c3e5b6848e916d8ef5580f6eb4c99615896');
INSERT INTO public.readings VALUES (4, 1, 1741183800000000, 0, 1, 8, NULL, 0, 'not run', NULL, '', 'm', 'B', 'Ünïcode µ', '', 2, '\x68de020afee400e131879daf46222bd7c2cff4067a55cbc818539c18c33a00aa');
INSERT INTO public.readings VALUES (5, 2, 1741155600000000, 0, 1, 5, 1010, 0, '', 1000, 'shunt-1', 'ktl', 'A', '', '', 2, '\x77f29c445ee63a58ba99089cf3243c337ed439faf18058746be9afde5166dba9');
INSERT INTO public.readings VALUES (6, 3, 1741155900000000, 0, 1, 6, NULL, 0, 'shown', NULL, '', 'ktl', 'A', '', '', 2, '\xf2125b245ddaa0e4d425a7200ae12f0e10150673876e46e98137d23747b7bb8d');
INSERT INTO public.streams VALUES (1, 'Line A', 'bath_concentration', 'tank', 'mL/100mL');
INSERT INTO public.streams VALUES (2, 'Line A', 'ammeter', 'head', 'A');
INSERT INTO public.streams VALUES (3, 'Line A', 'notched_shim', 'bracket', '');
INSERT INTO public.trail VALUES (1, 1748779200000000, 'ktl', 'file', '/logs/log.csv', '{"digest":"00ff","path":"/logs/log.csv"}', '\x6f365839a81df37edb271616c350c00ee2da32ca9cf6e7cd1447a2b761bd06ab');
INSERT INTO public.trail VALUES (2, 1748779200000000, 'ktl', 'readings', '/logs/log.csv', '{"digest":"f2125b245ddaa0e4d425a7200ae12f0e10150673876e46e98137d23747b7bb8d","file":1,"first":1,"last":6,"streams":[1,2,3]}', '\x0d34c5e40c4e281f9038ea28bf5dc696b93fbad12aa90cdeb3a8d35350e516fe');
INSERT INTO public.trail VALUES (3, 1748779200000000, 'ktl', 'quarantined', '/logs/log.csv', '{"file":1,"rows":[[9,"value","1.2.3","this is no number, and bath_concentration is measured; write a number, <number, >number or not run"]]}', '\x5a35d41fdb3cbfa282a25c5f2468e3046abb454a6223e3b5a9d4452c00be391c');
INSERT INTO public.trail VALUES (4, 1748779200000000, 'ktl', 'imported', '/logs/log.csv', '{"accepted":6,"duplicate":1,"file":1,"present":0,"quarantined":1,"read":8}', '\x0c70ba871bc8a4d38c130ba9fc758bc3aa12c3ee7b0f7bc211549762ae1261e7');
INSERT INTO public.trail VALUES (5, 1748779200000000, 'anna', 'event', 'Line A', '{"amount":null,"at":"2025-03-04T06:10:00+00:00","check":"bath_concentration","kind":"bath_changed","line":"Line A","note":"","offset":0,"position":"tank","row":2,"unit":""}', '\xe81015ce94a0d60bcf36103a008d99ecb25504ee585270343337add6e909e480');
INSERT INTO public.trail VALUES (6, 1748779200000000, 'anna', 'correction', 'Line A · bath_concentration · tank', '{"key":{"check":"bath_concentration","line":"Line A","position":"tank"},"reading":{"bound":0,"taken_at":"2025-03-04T13:10:00+00:00","value":0.19,"word":""},"replaces":0,"said":{"bound":0,"instrument":"","note":"misread","offset":-32768,"reference":null,"shift":"","taken_at":"2025-03-04T14:10:00+00:00","technician":"","value":0.2,"word":""},"why":"misread"}', '\x937a98b64f00439548aa053da2dae2a90f403977ebfa5b93dbb7bac5669660bb');
INSERT INTO public.trail VALUES (7, 1748779200000000, 'anna', 'baseline', 'Line A · bath_concentration · tank', '{"by":"","centre_line":0.2,"first":"2025-03-04T06:10:00+00:00","key":{"check":"bath_concentration","line":"Line A","position":"tank"},"last":"2025-03-04T06:10:00+00:00","left_out":["2025-03-04T06:10:00+00:00"],"lower":0.17,"n":20,"sigma":0.01,"step":"proposed","upper":0.23,"version":1,"words":""}', '\x622889391e78958840d204b2634f0e2e419135680cabb2e4d1be9e5226edd5a0');
INSERT INTO public.trail VALUES (8, 1748779200000000, 'anna', 'reaction', 'Line A · bath_concentration · tank', '{"by":"anna","key":{"check":"bath_concentration","line":"Line A","position":"tank"},"rule":"one_side","signal_at":"2025-03-04T06:10:00+00:00","step":"acknowledged","words":"bath looked at"}', '\xff8691fa27dcc13f98c9f4113b6e364f512f9d1b69a88cbaad7a4cb7079093a0');
INSERT INTO public.trail VALUES (9, 1748779200000000, 'anna', 'account', 'anna', '{"active":true,"name":"anna","password_hash":"scrypt$...","role":"level 3"}', '\x3419dd8b7161433dbc6d9214b4987e142f3b914cc9211067a09c2bf02594b598');
INSERT INTO public.trail VALUES (10, 1748779200000000, 'anna', 'calibration', 'rad-2', '{"at":"2025-03-04T06:10:00+00:00","by":"lab","certificate":"C-7","due":"2025-08-31T06:10:00+00:00","error_found":-120.0,"error_left":null,"found":"out of tolerance","instrument":"rad-2","unit":"uW/cm2"}', '\x0618e5a1d7fa84f9395e3971a0f0499a3df646406cf34c5dbb2825ec72b09840');
ALTER TABLE ONLY public.alembic_version
    ADD CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num);
ALTER TABLE ONLY public.head
    ADD CONSTRAINT head_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.readings
    ADD CONSTRAINT readings_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.streams
    ADD CONSTRAINT streams_are_named_once UNIQUE (line, "check", "position");
ALTER TABLE ONLY public.streams
    ADD CONSTRAINT streams_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.trail
    ADD CONSTRAINT trail_pkey PRIMARY KEY (sequence);
CREATE UNIQUE INDEX readings_are_kept_once ON public.readings USING btree (stream, taken_at, COALESCE(value, (0)::double precision), bound, word);
CREATE INDEX trail_by_kind ON public.trail USING btree (kind, subject, sequence);
ALTER TABLE ONLY public.readings
    ADD CONSTRAINT readings_entry_fkey FOREIGN KEY (entry) REFERENCES public.trail(sequence) DEFERRABLE INITIALLY DEFERRED;
ALTER TABLE ONLY public.readings
    ADD CONSTRAINT readings_file_fkey FOREIGN KEY (file) REFERENCES public.trail(sequence);
ALTER TABLE ONLY public.readings
    ADD CONSTRAINT readings_stream_fkey FOREIGN KEY (stream) REFERENCES public.streams(id);

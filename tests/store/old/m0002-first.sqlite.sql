BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('m0002');
CREATE TABLE head (
	id INTEGER NOT NULL, 
	sequence INTEGER NOT NULL, 
	digest BLOB NOT NULL, 
	reading INTEGER NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "head" VALUES(1,10,X'0618E5A1D7FA84F9395E3971A0F0499A3DF646406CF34C5DBB2825EC72B09840',6);
CREATE TABLE readings (
	id INTEGER NOT NULL, 
	stream INTEGER NOT NULL, 
	taken_at INTEGER NOT NULL, 
	"offset" SMALLINT NOT NULL, 
	file INTEGER NOT NULL, 
	"row" INTEGER NOT NULL, 
	value DOUBLE, 
	bound SMALLINT NOT NULL, 
	word TEXT NOT NULL, 
	reference DOUBLE, 
	instrument TEXT NOT NULL, 
	technician TEXT NOT NULL, 
	shift TEXT NOT NULL, 
	note TEXT NOT NULL, 
	other TEXT NOT NULL, 
	entry INTEGER NOT NULL, 
	digest BLOB NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(stream) REFERENCES streams (id), 
	FOREIGN KEY(file) REFERENCES trail (sequence), 
	FOREIGN KEY(entry) REFERENCES trail (sequence) DEFERRABLE INITIALLY DEFERRED
);
INSERT INTO "readings" VALUES(1,1,1741068600000000,0,1,2,0.21,0,'',NULL,'tube-03','ktl','A','','{"lot":"7"}',2,X'03FDF30C48078F5BA5B6DF347FCB44F11D1D234B855711E7065C180534ED496F');
INSERT INTO "readings" VALUES(2,1,1741093800000000,60,1,3,0.19,0,'',NULL,'tube-03','ktl','B','low, "topped up" later','',2,X'AD524881FFD9097D01C7B2E0810105E9A0D757AD81DA0E2A5E139FBD69F0DDE6');
INSERT INTO "readings" VALUES(3,1,1741155000000000,0,1,4,0.05,-1,'',NULL,'tube-03','ktl','A','','{"lot":"8"}',2,X'DF83346DA51B0C626C9BD3358D1C4C3E5B6848E916D8EF5580F6EB4C99615896');
INSERT INTO "readings" VALUES(4,1,1741183800000000,0,1,8,NULL,0,'not run',NULL,'','m','B','Ünïcode µ','',2,X'68DE020AFEE400E131879DAF46222BD7C2CFF4067A55CBC818539C18C33A00AA');
INSERT INTO "readings" VALUES(5,2,1741155600000000,0,1,5,1010.0,0,'',1000.0,'shunt-1','ktl','A','','',2,X'77F29C445EE63A58BA99089CF3243C337ED439FAF18058746BE9AFDE5166DBA9');
INSERT INTO "readings" VALUES(6,3,1741155900000000,0,1,6,NULL,0,'shown',NULL,'','ktl','A','','',2,X'F2125B245DDAA0E4D425A7200AE12F0E10150673876E46E98137D23747B7BB8D');
CREATE TABLE streams (
	id INTEGER NOT NULL, 
	line TEXT NOT NULL, 
	"check" TEXT NOT NULL, 
	position TEXT NOT NULL, 
	unit TEXT NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT streams_are_named_once UNIQUE (line, "check", position)
);
INSERT INTO "streams" VALUES(1,'Line A','bath_concentration','tank','mL/100mL');
INSERT INTO "streams" VALUES(2,'Line A','ammeter','head','A');
INSERT INTO "streams" VALUES(3,'Line A','notched_shim','bracket','');
CREATE TABLE trail (
	sequence INTEGER NOT NULL, 
	at INTEGER NOT NULL, 
	who TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	subject TEXT NOT NULL, 
	body TEXT NOT NULL, 
	digest BLOB NOT NULL, 
	PRIMARY KEY (sequence)
);
INSERT INTO "trail" VALUES(1,1748779200000000,'ktl','file','/logs/log.csv','{"digest":"00ff","path":"/logs/log.csv"}',X'6F365839A81DF37EDB271616C350C00EE2DA32CA9CF6E7CD1447A2B761BD06AB');
INSERT INTO "trail" VALUES(2,1748779200000000,'ktl','readings','/logs/log.csv','{"digest":"f2125b245ddaa0e4d425a7200ae12f0e10150673876e46e98137d23747b7bb8d","file":1,"first":1,"last":6,"streams":[1,2,3]}',X'0D34C5E40C4E281F9038EA28BF5DC696B93FBAD12AA90CDEB3A8D35350E516FE');
INSERT INTO "trail" VALUES(3,1748779200000000,'ktl','quarantined','/logs/log.csv','{"file":1,"rows":[[9,"value","1.2.3","this is no number, and bath_concentration is measured; write a number, <number, >number or not run"]]}',X'5A35D41FDB3CBFA282A25C5F2468E3046ABB454A6223E3B5A9D4452C00BE391C');
INSERT INTO "trail" VALUES(4,1748779200000000,'ktl','imported','/logs/log.csv','{"accepted":6,"duplicate":1,"file":1,"present":0,"quarantined":1,"read":8}',X'0C70BA871BC8A4D38C130BA9FC758BC3AA12C3EE7B0F7BC211549762AE1261E7');
INSERT INTO "trail" VALUES(5,1748779200000000,'anna','event','Line A','{"amount":null,"at":"2025-03-04T06:10:00+00:00","check":"bath_concentration","kind":"bath_changed","line":"Line A","note":"","offset":0,"position":"tank","row":2,"unit":""}',X'E81015CE94A0D60BCF36103A008D99ECB25504EE585270343337ADD6E909E480');
INSERT INTO "trail" VALUES(6,1748779200000000,'anna','correction','Line A · bath_concentration · tank','{"key":{"check":"bath_concentration","line":"Line A","position":"tank"},"reading":{"bound":0,"taken_at":"2025-03-04T13:10:00+00:00","value":0.19,"word":""},"replaces":0,"said":{"bound":0,"instrument":"","note":"misread","offset":-32768,"reference":null,"shift":"","taken_at":"2025-03-04T14:10:00+00:00","technician":"","value":0.2,"word":""},"why":"misread"}',X'937A98B64F00439548AA053DA2DAE2A90F403977EBFA5B93DBB7BAC5669660BB');
INSERT INTO "trail" VALUES(7,1748779200000000,'anna','baseline','Line A · bath_concentration · tank','{"by":"","centre_line":0.2,"first":"2025-03-04T06:10:00+00:00","key":{"check":"bath_concentration","line":"Line A","position":"tank"},"last":"2025-03-04T06:10:00+00:00","left_out":["2025-03-04T06:10:00+00:00"],"lower":0.17,"n":20,"sigma":0.01,"step":"proposed","upper":0.23,"version":1,"words":""}',X'622889391E78958840D204B2634F0E2E419135680CABB2E4D1BE9E5226EDD5A0');
INSERT INTO "trail" VALUES(8,1748779200000000,'anna','reaction','Line A · bath_concentration · tank','{"by":"anna","key":{"check":"bath_concentration","line":"Line A","position":"tank"},"rule":"one_side","signal_at":"2025-03-04T06:10:00+00:00","step":"acknowledged","words":"bath looked at"}',X'FF8691FA27DCC13F98C9F4113B6E364F512F9D1B69A88CBAAD7A4CB7079093A0');
INSERT INTO "trail" VALUES(9,1748779200000000,'anna','account','anna','{"active":true,"name":"anna","password_hash":"scrypt$...","role":"level 3"}',X'3419DD8B7161433DBC6D9214B4987E142F3B914CC9211067A09C2BF02594B598');
INSERT INTO "trail" VALUES(10,1748779200000000,'anna','calibration','rad-2','{"at":"2025-03-04T06:10:00+00:00","by":"lab","certificate":"C-7","due":"2025-08-31T06:10:00+00:00","error_found":-120.0,"error_left":null,"found":"out of tolerance","instrument":"rad-2","unit":"uW/cm2"}',X'0618E5A1D7FA84F9395E3971A0F0499A3DF646406CF34C5DBB2825EC72B09840');
CREATE INDEX trail_by_kind ON trail (kind, subject, sequence);
CREATE UNIQUE INDEX readings_are_kept_once ON readings (stream, taken_at, coalesce(value, 0), bound, word);
CREATE TRIGGER trail_only_grows_update BEFORE UPDATE ON trail BEGIN SELECT RAISE(ABORT, 'the table trail only grows'); END;
CREATE TRIGGER trail_only_grows_delete BEFORE DELETE ON trail BEGIN SELECT RAISE(ABORT, 'the table trail only grows'); END;
CREATE TRIGGER streams_only_grows_update BEFORE UPDATE ON streams BEGIN SELECT RAISE(ABORT, 'the table streams only grows'); END;
CREATE TRIGGER streams_only_grows_delete BEFORE DELETE ON streams BEGIN SELECT RAISE(ABORT, 'the table streams only grows'); END;
CREATE TRIGGER readings_only_grows_update BEFORE UPDATE ON readings BEGIN SELECT RAISE(ABORT, 'the table readings only grows'); END;
CREATE TRIGGER readings_only_grows_delete BEFORE DELETE ON readings BEGIN SELECT RAISE(ABORT, 'the table readings only grows'); END;
CREATE TRIGGER head_goes_forward BEFORE UPDATE ON head WHEN NEW.id <> OLD.id OR NEW.sequence <= OLD.sequence OR NEW.reading < OLD.reading BEGIN SELECT RAISE(ABORT, 'the head only goes forward'); END;
CREATE TRIGGER head_stays BEFORE DELETE ON head BEGIN SELECT RAISE(ABORT, 'the head is not deleted'); END;
COMMIT;

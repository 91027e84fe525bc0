BEGIN TRANSACTION;
CREATE TABLE change (
	id INTEGER NOT NULL, 
	sweep_id INTEGER NOT NULL, 
	unit_id INTEGER NOT NULL, 
	"before" VARCHAR(8), 
	"after" VARCHAR(8) NOT NULL, 
	at_s DOUBLE NOT NULL, 
	confirmed_s DOUBLE NOT NULL, 
	root_kind VARCHAR(16) NOT NULL, 
	root_name TEXT NOT NULL, 
	reason TEXT NOT NULL, 
	held TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(unit_id) REFERENCES unit (id)
);
INSERT INTO "change" VALUES(1,1,1,'sound','silent',1795500000.0,1795500300.0,'device','quarry-lighthouse','echo.reply: none','mast work');
CREATE TABLE delivery (
	message_id INTEGER NOT NULL, 
	teller VARCHAR(16) NOT NULL, 
	attempts INTEGER NOT NULL, 
	next_s DOUBLE NOT NULL, 
	told_s DOUBLE, 
	fault TEXT, 
	PRIMARY KEY (message_id, teller), 
	FOREIGN KEY(message_id) REFERENCES message (id)
);
INSERT INTO "delivery" VALUES(1,'lines',0,0.0,NULL,NULL);
CREATE TABLE hour (
	hour_s BIGINT NOT NULL, 
	unit_id INTEGER NOT NULL, 
	sweeps INTEGER NOT NULL, 
	sound_s FLOAT NOT NULL, 
	impaired_s FLOAT NOT NULL, 
	silent_s FLOAT NOT NULL, 
	untested_s FLOAT NOT NULL, 
	answered_s FLOAT NOT NULL, 
	unanswered_s FLOAT NOT NULL, 
	rtt_median_ms FLOAT, 
	rtt_max_ms FLOAT, 
	loss_mean_pct FLOAT, 
	PRIMARY KEY (hour_s, unit_id)
)
 WITHOUT ROWID

;
CREATE TABLE hour_level (
	hour_s BIGINT NOT NULL, 
	unit_id INTEGER NOT NULL, 
	carrier INTEGER NOT NULL, 
	"end" VARCHAR(1) NOT NULL, 
	samples INTEGER NOT NULL, 
	min_dbm FLOAT NOT NULL, 
	median_dbm FLOAT NOT NULL, 
	max_dbm FLOAT NOT NULL, 
	PRIMARY KEY (hour_s, unit_id, carrier, "end")
)
 WITHOUT ROWID

;
CREATE TABLE hour_port (
	hour_s BIGINT NOT NULL, 
	unit_id INTEGER NOT NULL, 
	port TEXT NOT NULL, 
	in_added BIGINT NOT NULL, 
	out_added BIGINT NOT NULL, 
	PRIMARY KEY (hour_s, unit_id, port)
)
 WITHOUT ROWID

;
CREATE TABLE level (
	sweep_id INTEGER NOT NULL, 
	unit_id INTEGER NOT NULL, 
	carrier INTEGER NOT NULL, 
	"end" VARCHAR(1) NOT NULL, 
	rx_level_dbm FLOAT NOT NULL, 
	PRIMARY KEY (sweep_id, unit_id, carrier, "end")
)
 WITHOUT ROWID

;
INSERT INTO "level" VALUES(1,2,1,'a',-45.5);
INSERT INTO "level" VALUES(1,2,1,'b',-46.25);
CREATE TABLE memory (
	unit_id INTEGER NOT NULL, 
	state VARCHAR(8) NOT NULL, 
	since_s DOUBLE NOT NULL, 
	told VARCHAR(8) NOT NULL, 
	root_kind VARCHAR(16) NOT NULL, 
	root_name TEXT NOT NULL, 
	pending VARCHAR(8), 
	pending_n INTEGER NOT NULL, 
	pending_since_s DOUBLE, 
	recent TEXT NOT NULL, 
	reason TEXT NOT NULL, 
	try_first TEXT NOT NULL, 
	PRIMARY KEY (unit_id), 
	FOREIGN KEY(unit_id) REFERENCES unit (id)
);
INSERT INTO "memory" VALUES(1,'impaired',1795500000.0,'impaired','device','lighthouse-quarry',NULL,0,NULL,'','','');
CREATE TABLE message (
	id INTEGER NOT NULL, 
	notice_id VARCHAR(96) NOT NULL, 
	created_s DOUBLE NOT NULL, 
	body TEXT NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (notice_id)
);
INSERT INTO "message" VALUES(1,'n-1',1795500000.0,'{"format": "plan-verifier/change/1", "id": "n-1", "network": "Harbour ring", "at": "2026-11-24T06:05:00.000Z", "root": {"kind": "device", "name": "lighthouse-quarry"}, "changes": [{"unit": {"kind": "device", "name": "lighthouse-quarry"}, "before": "sound", "after": "silent", "since": "2026-11-24T06:00:00.000Z", "reason": "r", "try_first": "", "held": null}], "text": "lighthouse-quarry is silent (was sound): Größe"}');
CREATE TABLE meta (
	"key" VARCHAR(64) NOT NULL, 
	value TEXT NOT NULL, 
	PRIMARY KEY ("key")
);
INSERT INTO "meta" VALUES('schema','1');
CREATE TABLE port (
	unit_id INTEGER NOT NULL, 
	port TEXT NOT NULL, 
	in_errors BIGINT NOT NULL, 
	out_errors BIGINT NOT NULL, 
	uptime_s DOUBLE, 
	PRIMARY KEY (unit_id, port)
);
INSERT INTO "port" VALUES(1,'eth1',12,0,77.5);
INSERT INTO "port" VALUES(1,'eth2',0,4294967295,77.5);
CREATE TABLE port_errors (
	sweep_id INTEGER NOT NULL, 
	unit_id INTEGER NOT NULL, 
	port TEXT NOT NULL, 
	in_added BIGINT NOT NULL, 
	out_added BIGINT NOT NULL, 
	PRIMARY KEY (sweep_id, unit_id, port)
)
 WITHOUT ROWID

;
INSERT INTO "port_errors" VALUES(1,1,'eth1',3,1);
CREATE TABLE reading (
	sweep_id INTEGER NOT NULL, 
	unit_id INTEGER NOT NULL, 
	state VARCHAR(8) NOT NULL, 
	answered INTEGER, 
	rtt_ms FLOAT, 
	loss_pct FLOAT, 
	uptime_s DOUBLE, 
	root_kind VARCHAR(16), 
	root_name TEXT, 
	reasons TEXT, 
	PRIMARY KEY (sweep_id, unit_id)
)
 WITHOUT ROWID

;
INSERT INTO "reading" VALUES(1,1,'impaired',1,1.25,20.0,77.5,'link','Hop 1','[{"check": "port.speed", "verdict": "fail", "text": "eth1: slower than planned"}]');
INSERT INTO "reading" VALUES(1,2,'sound',1,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "reading" VALUES(2,1,'impaired',1,1.25,20.0,77.5,'link','Hop 1','[{"check": "port.speed", "verdict": "fail", "text": "eth1: slower than planned"}]');
INSERT INTO "reading" VALUES(2,3,'sound',1,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE sweep (
	id INTEGER NOT NULL, 
	"key" VARCHAR(64) NOT NULL, 
	started_s DOUBLE NOT NULL, 
	took_s FLOAT NOT NULL, 
	valid_s FLOAT NOT NULL, 
	skipped INTEGER NOT NULL, 
	clock_step_s FLOAT, 
	plan_name TEXT NOT NULL, 
	plan_revision TEXT, 
	plan_sha256 VARCHAR(64) NOT NULL, 
	tool_version VARCHAR(32) NOT NULL, 
	kept VARCHAR(8) NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE ("key")
);
INSERT INTO "sweep" VALUES(1,'key-0',1795500000.0,1.5,900.0,0,NULL,'',NULL,'','','open');
INSERT INTO "sweep" VALUES(2,'key-1',1795500300.0,1.5,900.0,0,NULL,'',NULL,'','','open');
CREATE TABLE unit (
	id INTEGER NOT NULL, 
	kind VARCHAR(16) NOT NULL, 
	name TEXT NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (kind, name)
);
INSERT INTO "unit" VALUES(1,'device','lighthouse-quarry');
INSERT INTO "unit" VALUES(2,'link','Hop 1');
INSERT INTO "unit" VALUES(3,'device','quarry-lighthouse');
CREATE INDEX sweep_kept ON sweep (kept, id);
CREATE INDEX reading_unit ON reading (unit_id, sweep_id);
CREATE INDEX level_unit ON level (unit_id, sweep_id);
CREATE INDEX port_errors_unit ON port_errors (unit_id, sweep_id);
CREATE INDEX hour_unit ON hour (unit_id, hour_s);
CREATE INDEX hour_level_unit ON hour_level (unit_id, hour_s);
CREATE INDEX hour_port_unit ON hour_port (unit_id, hour_s);
CREATE INDEX change_unit ON change (unit_id, id);
CREATE INDEX delivery_waiting ON delivery (teller, told_s, message_id);
COMMIT;

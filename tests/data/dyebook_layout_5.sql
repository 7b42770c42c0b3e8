-- A dye book of layout 5, as the version that wrote it left it. Invented readings.
PRAGMA application_id = 1685677410;
PRAGMA user_version = 5;
BEGIN TRANSACTION;
CREATE TABLE change (
        id INTEGER PRIMARY KEY,
        event INTEGER NOT NULL REFERENCES event (id),
        place TEXT NOT NULL,
        row INTEGER NOT NULL,
        before TEXT
    ) STRICT
;
INSERT INTO "change" VALUES(1,1,'cloth',1,NULL);
INSERT INTO "change" VALUES(2,1,'cloth',1,'{"fibre": "", "note": ""}');
INSERT INTO "change" VALUES(3,2,'dye',1,NULL);
INSERT INTO "change" VALUES(4,2,'dye',1,'{"bought": null, "note": ""}');
INSERT INTO "change" VALUES(5,3,'stock',1,NULL);
INSERT INTO "change" VALUES(6,3,'dye',2,NULL);
INSERT INTO "change" VALUES(7,3,'stock',2,NULL);
INSERT INTO "change" VALUES(8,4,'kind',1,NULL);
INSERT INTO "change" VALUES(9,4,'method',1,NULL);
INSERT INTO "change" VALUES(10,4,'swatch_set',1,NULL);
INSERT INTO "change" VALUES(11,4,'swatch',1,NULL);
INSERT INTO "change" VALUES(12,4,'reading',1,NULL);
INSERT INTO "change" VALUES(13,4,'swatch',2,NULL);
INSERT INTO "change" VALUES(14,4,'reading',2,NULL);
INSERT INTO "change" VALUES(15,4,'swatch',3,NULL);
INSERT INTO "change" VALUES(16,4,'reading',3,NULL);
INSERT INTO "change" VALUES(17,4,'swatch',4,NULL);
INSERT INTO "change" VALUES(18,4,'reading',4,NULL);
INSERT INTO "change" VALUES(19,4,'swatch',5,NULL);
INSERT INTO "change" VALUES(20,4,'reading',5,NULL);
INSERT INTO "change" VALUES(21,5,'job',1,NULL);
INSERT INTO "change" VALUES(22,5,'recipe',1,NULL);
INSERT INTO "change" VALUES(23,6,'sheet',1,NULL);
INSERT INTO "change" VALUES(24,6,'job',2,NULL);
INSERT INTO "change" VALUES(25,6,'sheet',2,NULL);
INSERT INTO "change" VALUES(26,7,'swatch',6,NULL);
INSERT INTO "change" VALUES(27,7,'reading',6,NULL);
INSERT INTO "change" VALUES(28,7,'trial',1,NULL);
INSERT INTO "change" VALUES(29,8,'swatch',7,NULL);
INSERT INTO "change" VALUES(30,8,'reading',7,NULL);
INSERT INTO "change" VALUES(31,8,'job',3,NULL);
INSERT INTO "change" VALUES(32,8,'swatch',8,NULL);
INSERT INTO "change" VALUES(33,8,'reading',8,NULL);
INSERT INTO "change" VALUES(34,8,'trial',2,NULL);
INSERT INTO "change" VALUES(35,9,'swatch',9,NULL);
INSERT INTO "change" VALUES(36,9,'reading',9,NULL);
INSERT INTO "change" VALUES(37,9,'sign_off',1,NULL);
INSERT INTO "change" VALUES(38,10,'method',2,NULL);
INSERT INTO "change" VALUES(39,10,'swatch_set',2,NULL);
INSERT INTO "change" VALUES(40,10,'cloth',2,NULL);
INSERT INTO "change" VALUES(41,10,'swatch',10,NULL);
INSERT INTO "change" VALUES(42,10,'reading',10,NULL);
INSERT INTO "change" VALUES(43,10,'swatch',11,NULL);
INSERT INTO "change" VALUES(44,10,'reading',11,NULL);
INSERT INTO "change" VALUES(45,10,'swatch',12,NULL);
INSERT INTO "change" VALUES(46,10,'reading',12,NULL);
INSERT INTO "change" VALUES(47,11,'reading',12,'{"struck": null}');
INSERT INTO "change" VALUES(48,12,'swatch_set',2,'{"name": "linen.csv", "replaced": null}');
INSERT INTO "change" VALUES(49,12,'swatch_set',3,NULL);
INSERT INTO "change" VALUES(50,12,'swatch',13,NULL);
INSERT INTO "change" VALUES(51,12,'reading',13,NULL);
INSERT INTO "change" VALUES(52,12,'swatch',14,NULL);
INSERT INTO "change" VALUES(53,12,'reading',14,NULL);
INSERT INTO "change" VALUES(54,12,'swatch',15,NULL);
INSERT INTO "change" VALUES(55,12,'reading',15,NULL);
INSERT INTO "change" VALUES(56,13,'swatch',16,NULL);
INSERT INTO "change" VALUES(57,13,'reading',16,NULL);
INSERT INTO "change" VALUES(58,13,'trial',3,NULL);
INSERT INTO "change" VALUES(59,13,'picture',1,NULL);
INSERT INTO "change" VALUES(60,14,'method',2,'{"half_life": null, "lot": null}');
CREATE TABLE cloth (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        fibre TEXT NOT NULL DEFAULT '',
        note TEXT NOT NULL DEFAULT ''
    ) STRICT;
INSERT INTO "cloth" VALUES(1,'café napkin','cotton 55 %, linen 45 %','mercerised?');
INSERT INTO "cloth" VALUES(2,'linen','','');
CREATE TABLE dye (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL CHECK (name <> ''),
        lot TEXT NOT NULL DEFAULT '',
        bought TEXT CHECK (bought <> ''),
        note TEXT NOT NULL DEFAULT '',
        UNIQUE (name, lot)
    ) STRICT;
INSERT INTO "dye" VALUES(1,'gold','G1','2026-01-02','half full');
INSERT INTO "dye" VALUES(2,'navy','',NULL,'');
CREATE TABLE event (
        id INTEGER PRIMARY KEY,
        at TEXT NOT NULL,
        what TEXT NOT NULL
    ) STRICT;
INSERT INTO "event" VALUES(1,'2026-11-26T20:28:21','cloth café napkin');
INSERT INTO "event" VALUES(2,'2026-11-26T20:28:21','dye Gold (lot G1)');
INSERT INTO "event" VALUES(3,'2026-11-26T20:28:21','stock of gold, navy');
INSERT INTO "event" VALUES(4,'2026-11-26T20:28:21','swatches a.csv');
INSERT INTO "event" VALUES(5,'2026-11-26T20:28:21','recipe of sage');
INSERT INTO "event" VALUES(6,'2026-11-26T20:28:21','bath sheet of sage, ink');
INSERT INTO "event" VALUES(7,'2026-11-26T20:28:21','trial of sage');
INSERT INTO "event" VALUES(8,'2026-11-26T20:28:21','trial of navy 0.10');
INSERT INTO "event" VALUES(9,'2026-11-26T20:28:21','standard café sage');
INSERT INTO "event" VALUES(10,'2026-11-26T20:28:21','swatches linen.csv');
INSERT INTO "event" VALUES(11,'2026-11-26T20:28:21','struck 3: spilt');
INSERT INTO "event" VALUES(12,'2026-11-26T20:28:21','swatches again.csv');
INSERT INTO "event" VALUES(13,'2026-11-26T20:28:21','trial of ink');
INSERT INTO "event" VALUES(14,'2026-11-26T20:28:21','how trials of linen are weighed');
CREATE TABLE fit (
        id INTEGER PRIMARY KEY,
        kept TEXT NOT NULL,
        swatches TEXT NOT NULL,
        note TEXT NOT NULL DEFAULT '',
        content TEXT NOT NULL
    , learnt INTEGER NOT NULL DEFAULT 0 CHECK (learnt IN (0, 1))) STRICT;
CREATE TABLE job (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> '')
    ) STRICT;
INSERT INTO "job" VALUES(1,'sage');
INSERT INTO "job" VALUES(2,'ink');
INSERT INTO "job" VALUES(3,'navy 0.10');
CREATE TABLE kind (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        demo INTEGER NOT NULL CHECK (demo IN (0, 1))
    ) STRICT;
INSERT INTO "kind" VALUES(1,0);
CREATE TABLE method (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        borrows INTEGER REFERENCES method (id),
        lot TEXT,
        half_life REAL CHECK (half_life > 0)
    ) STRICT;
INSERT INTO "method" VALUES(1,'café napkin',NULL,NULL,NULL);
INSERT INTO "method" VALUES(2,'linen',NULL,'N3',90.0);
CREATE TABLE picture (
        id INTEGER PRIMARY KEY,
        trial INTEGER NOT NULL REFERENCES trial (id),
        content BLOB NOT NULL
    ) STRICT;
INSERT INTO "picture" VALUES(1,3,X'FFD82070696374757265');
CREATE TABLE reading (
        id INTEGER PRIMARY KEY,
        swatch INTEGER NOT NULL REFERENCES swatch (id),
        as_written TEXT NOT NULL,
        kind TEXT NOT NULL,
        spectrum TEXT CHECK (spectrum <> ''),
        lab TEXT CHECK (lab <> ''),
        light TEXT CHECK (light <> ''),
        covariance TEXT CHECK (covariance <> ''),
        conditions TEXT NOT NULL,
        flags TEXT NOT NULL,
        place TEXT NOT NULL,
        name TEXT NOT NULL
    , clipped TEXT, struck TEXT CHECK (struck <> '')) STRICT;
INSERT INTO "reading" VALUES(1,1,'undyed','spectrum','[0.8, 0.8047457243264088, 0.8093947617374071, 0.8138523951664351, 0.8180278071119611, 0.8218359299059507, 0.8251991788382245, 0.8280490328269299, 0.8303274304313708, 0.8319879527655563, 0.8329967692124042, 0.8333333266711123, 0.8329907682953275, 0.8319760731909613, 0.8303099142275228, 0.8280262368598417, 0.8251715675410554, 0.8218040658168866, 0.8179923394133548, 0.8138140464587033, 0.8093543133171452, 0.8047040002686623, 0.7999578503689875, 0.7952125592039394, 0.7905648048639249, 0.7861092782748834, 0.7819367540146865, 0.7781322409191719, 0.7747732501564024, 0.7719282160545031, 0.7696551018563073]',NULL,NULL,NULL,'{"cloth": "café napkin", "hours": "24"}','[]','','',NULL,NULL);
INSERT INTO "reading" VALUES(2,2,'gold 2','spectrum','[0.4, 0.4047457243264088, 0.409394761737407, 0.41385239516643507, 0.4180278071119611, 0.42183592990595065, 0.42519917883822445, 0.4280490328269299, 0.43032743043137084, 0.4319879527655562, 0.43299676921240415, 0.4333333266711123, 0.4329907682953274, 0.4319760731909614, 0.43030991422752274, 0.4280262368598417, 0.4251715675410553, 0.42180406581688656, 0.41799233941335484, 0.4138140464587032, 0.4093543133171452, 0.40470400026866227, 0.39995785036898746, 0.39521255920393944, 0.39056480486392486, 0.38610927827488334, 0.3819367540146865, 0.3781322409191719, 0.3747732501564024, 0.37192821605450316, 0.36965510185630723]',NULL,NULL,NULL,'{}','["by eye", "wet?"]','a.csv, row 3','',NULL,NULL);
INSERT INTO "reading" VALUES(3,3,'','spectrum','[0.3, 0.3047457243264088, 0.309394761737407, 0.31385239516643504, 0.31802780711196105, 0.3218359299059506, 0.3251991788382244, 0.3280490328269299, 0.3303274304313708, 0.33198795276555615, 0.3329967692124041, 0.33333332667111226, 0.33299076829532737, 0.33197607319096134, 0.3303099142275227, 0.32802623685984167, 0.32517156754105525, 0.32180406581688653, 0.3179923394133548, 0.31381404645870314, 0.3093543133171452, 0.30470400026866223, 0.2999578503689874, 0.2952125592039394, 0.2905648048639248, 0.2861092782748833, 0.2819367540146865, 0.2781322409191719, 0.27477325015640236, 0.2719282160545031, 0.26965510185630726]',NULL,NULL,NULL,'{}','[]','','unnamed',NULL,NULL);
INSERT INTO "reading" VALUES(4,4,'navy 1','blank',NULL,NULL,NULL,NULL,'{}','[]','','',NULL,NULL);
INSERT INTO "reading" VALUES(5,5,'1 tsp','Lab','[0.3, 0.3047457243264088, 0.309394761737407, 0.31385239516643504, 0.31802780711196105, 0.3218359299059506, 0.3251991788382244, 0.3280490328269299, 0.3303274304313708, 0.33198795276555615, 0.3329967692124041, 0.33333332667111226, 0.33299076829532737, 0.33197607319096134, 0.3303099142275227, 0.32802623685984167, 0.32517156754105525, 0.32180406581688653, 0.3179923394133548, 0.31381404645870314, 0.3093543133171452, 0.30470400026866223, 0.2999578503689874, 0.2952125592039394, 0.2905648048639248, 0.2861092782748833, 0.2819367540146865, 0.2781322409191719, 0.27477325015640236, 0.2719282160545031, 0.26965510185630726]','[50.1, 0.30000000000000004, -3.0]','D50/2°','[[0.14285714285714285, 0.0, 0.0], [0.0, 0.14285714285714285, 0.0], [0.0, 0.0, 0.14285714285714285]]','{}','[]','','','0.0 -1.0 0.0',NULL);
INSERT INTO "reading" VALUES(6,6,'gold 0.8 + navy 0.2','spectrum','[0.25, 0.2547457243264088, 0.259394761737407, 0.26385239516643505, 0.26802780711196106, 0.2718359299059506, 0.2751991788382244, 0.2780490328269299, 0.2803274304313708, 0.28198795276555616, 0.28299676921240413, 0.2833333266711123, 0.2829907682953274, 0.28197607319096135, 0.2803099142275227, 0.2780262368598417, 0.27517156754105526, 0.27180406581688654, 0.2679923394133548, 0.26381404645870316, 0.2593543133171452, 0.25470400026866225, 0.24995785036898743, 0.2452125592039394, 0.2405648048639248, 0.23610927827488334, 0.2319367540146865, 0.2281322409191719, 0.2247732501564024, 0.22192821605450314, 0.21965510185630724]',NULL,NULL,NULL,'{}','[]','','',NULL,NULL);
INSERT INTO "reading" VALUES(7,7,'gold 2','spectrum','[0.3, 0.3047457243264088, 0.309394761737407, 0.31385239516643504, 0.31802780711196105, 0.3218359299059506, 0.3251991788382244, 0.3280490328269299, 0.3303274304313708, 0.33198795276555615, 0.3329967692124041, 0.33333332667111226, 0.33299076829532737, 0.33197607319096134, 0.3303099142275227, 0.32802623685984167, 0.32517156754105525, 0.32180406581688653, 0.3179923394133548, 0.31381404645870314, 0.3093543133171452, 0.30470400026866223, 0.2999578503689874, 0.2952125592039394, 0.2905648048639248, 0.2861092782748833, 0.2819367540146865, 0.2781322409191719, 0.27477325015640236, 0.2719282160545031, 0.26965510185630726]',NULL,NULL,NULL,'{}','[]','','',NULL,NULL);
INSERT INTO "reading" VALUES(8,8,'navy 0.1','spectrum','[0.2, 0.2047457243264088, 0.209394761737407, 0.2138523951664351, 0.21802780711196107, 0.22183592990595064, 0.22519917883822443, 0.2280490328269299, 0.2303274304313708, 0.23198795276555617, 0.23299676921240414, 0.23333332667111228, 0.2329907682953274, 0.23197607319096136, 0.23030991422752273, 0.2280262368598417, 0.22517156754105527, 0.22180406581688653, 0.2179923394133548, 0.2138140464587032, 0.20935431331714524, 0.20470400026866226, 0.19995785036898744, 0.1952125592039394, 0.19056480486392482, 0.18610927827488336, 0.1819367540146865, 0.1781322409191719, 0.1747732501564024, 0.17192821605450315, 0.16965510185630725]',NULL,NULL,NULL,'{}','[]','','',NULL,NULL);
INSERT INTO "reading" VALUES(9,9,'gold 0.7','spectrum','[0.31, 0.3147457243264088, 0.319394761737407, 0.32385239516643505, 0.32802780711196106, 0.3318359299059506, 0.3351991788382244, 0.3380490328269299, 0.3403274304313708, 0.34198795276555616, 0.34299676921240413, 0.34333332667111227, 0.3429907682953274, 0.34197607319096135, 0.3403099142275227, 0.3380262368598417, 0.33517156754105526, 0.33180406581688654, 0.3279923394133548, 0.32381404645870315, 0.3193543133171452, 0.31470400026866224, 0.30995785036898743, 0.3052125592039394, 0.3005648048639248, 0.2961092782748833, 0.2919367540146865, 0.2881322409191719, 0.28477325015640237, 0.28192821605450313, 0.27965510185630726]',NULL,NULL,NULL,'{}','[]','','',NULL,NULL);
INSERT INTO "reading" VALUES(10,10,'undyed','spectrum','[0.8, 0.8047457243264088, 0.8093947617374071, 0.8138523951664351, 0.8180278071119611, 0.8218359299059507, 0.8251991788382245, 0.8280490328269299, 0.8303274304313708, 0.8319879527655563, 0.8329967692124042, 0.8333333266711123, 0.8329907682953275, 0.8319760731909613, 0.8303099142275228, 0.8280262368598417, 0.8251715675410554, 0.8218040658168866, 0.8179923394133548, 0.8138140464587033, 0.8093543133171452, 0.8047040002686623, 0.7999578503689875, 0.7952125592039394, 0.7905648048639249, 0.7861092782748834, 0.7819367540146865, 0.7781322409191719, 0.7747732501564024, 0.7719282160545031, 0.7696551018563073]',NULL,NULL,NULL,'{"cloth": "linen", "alkali": "with"}','[]','','',NULL,NULL);
INSERT INTO "reading" VALUES(11,11,'navy 1','spectrum','[0.3, 0.3047457243264088, 0.309394761737407, 0.31385239516643504, 0.31802780711196105, 0.3218359299059506, 0.3251991788382244, 0.3280490328269299, 0.3303274304313708, 0.33198795276555615, 0.3329967692124041, 0.33333332667111226, 0.33299076829532737, 0.33197607319096134, 0.3303099142275227, 0.32802623685984167, 0.32517156754105525, 0.32180406581688653, 0.3179923394133548, 0.31381404645870314, 0.3093543133171452, 0.30470400026866223, 0.2999578503689874, 0.2952125592039394, 0.2905648048639248, 0.2861092782748833, 0.2819367540146865, 0.2781322409191719, 0.27477325015640236, 0.2719282160545031, 0.26965510185630726]',NULL,NULL,NULL,'{"cloth": "linen", "alkali": "with"}','[]','','',NULL,NULL);
INSERT INTO "reading" VALUES(12,12,'navy 2','spectrum','[0.2, 0.2047457243264088, 0.209394761737407, 0.2138523951664351, 0.21802780711196107, 0.22183592990595064, 0.22519917883822443, 0.2280490328269299, 0.2303274304313708, 0.23198795276555617, 0.23299676921240414, 0.23333332667111228, 0.2329907682953274, 0.23197607319096136, 0.23030991422752273, 0.2280262368598417, 0.22517156754105527, 0.22180406581688653, 0.2179923394133548, 0.2138140464587032, 0.20935431331714524, 0.20470400026866226, 0.19995785036898744, 0.1952125592039394, 0.19056480486392482, 0.18610927827488336, 0.1819367540146865, 0.1781322409191719, 0.1747732501564024, 0.17192821605450315, 0.16965510185630725]',NULL,NULL,NULL,'{"cloth": "linen", "alkali": "with"}','[]','','',NULL,'2026-11-26: spilt');
INSERT INTO "reading" VALUES(13,13,'undyed','spectrum','[0.8, 0.8047457243264088, 0.8093947617374071, 0.8138523951664351, 0.8180278071119611, 0.8218359299059507, 0.8251991788382245, 0.8280490328269299, 0.8303274304313708, 0.8319879527655563, 0.8329967692124042, 0.8333333266711123, 0.8329907682953275, 0.8319760731909613, 0.8303099142275228, 0.8280262368598417, 0.8251715675410554, 0.8218040658168866, 0.8179923394133548, 0.8138140464587033, 0.8093543133171452, 0.8047040002686623, 0.7999578503689875, 0.7952125592039394, 0.7905648048639249, 0.7861092782748834, 0.7819367540146865, 0.7781322409191719, 0.7747732501564024, 0.7719282160545031, 0.7696551018563073]',NULL,NULL,NULL,'{"cloth": "linen", "alkali": "with"}','[]','','',NULL,NULL);
INSERT INTO "reading" VALUES(14,14,'navy 1','spectrum','[0.3, 0.3047457243264088, 0.309394761737407, 0.31385239516643504, 0.31802780711196105, 0.3218359299059506, 0.3251991788382244, 0.3280490328269299, 0.3303274304313708, 0.33198795276555615, 0.3329967692124041, 0.33333332667111226, 0.33299076829532737, 0.33197607319096134, 0.3303099142275227, 0.32802623685984167, 0.32517156754105525, 0.32180406581688653, 0.3179923394133548, 0.31381404645870314, 0.3093543133171452, 0.30470400026866223, 0.2999578503689874, 0.2952125592039394, 0.2905648048639248, 0.2861092782748833, 0.2819367540146865, 0.2781322409191719, 0.27477325015640236, 0.2719282160545031, 0.26965510185630726]',NULL,NULL,NULL,'{"cloth": "linen", "alkali": "with"}','[]','','',NULL,NULL);
INSERT INTO "reading" VALUES(15,15,'navy 2','spectrum','[0.2, 0.2047457243264088, 0.209394761737407, 0.2138523951664351, 0.21802780711196107, 0.22183592990595064, 0.22519917883822443, 0.2280490328269299, 0.2303274304313708, 0.23198795276555617, 0.23299676921240414, 0.23333332667111228, 0.2329907682953274, 0.23197607319096136, 0.23030991422752273, 0.2280262368598417, 0.22517156754105527, 0.22180406581688653, 0.2179923394133548, 0.2138140464587032, 0.20935431331714524, 0.20470400026866226, 0.19995785036898744, 0.1952125592039394, 0.19056480486392482, 0.18610927827488336, 0.1819367540146865, 0.1781322409191719, 0.1747732501564024, 0.17192821605450315, 0.16965510185630725]',NULL,NULL,NULL,'{"cloth": "linen", "alkali": "with"}','[]','','',NULL,NULL);
INSERT INTO "reading" VALUES(16,16,'navy 0.3','spectrum','[0.35, 0.3547457243264088, 0.359394761737407, 0.363852395166435, 0.36802780711196104, 0.3718359299059506, 0.3751991788382244, 0.37804903282692986, 0.3803274304313708, 0.38198795276555614, 0.3829967692124041, 0.38333332667111225, 0.38299076829532736, 0.38197607319096133, 0.3803099142275227, 0.37802623685984166, 0.37517156754105524, 0.3718040658168865, 0.3679923394133548, 0.36381404645870313, 0.3593543133171452, 0.3547040002686622, 0.3499578503689874, 0.3452125592039394, 0.3405648048639248, 0.3361092782748833, 0.3319367540146865, 0.32813224091917187, 0.32477325015640235, 0.3219282160545031, 0.3196551018563072]',NULL,NULL,NULL,'{}','[]','','',NULL,NULL);
CREATE TABLE recipe (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        kept TEXT NOT NULL,
        recipe TEXT NOT NULL,
        as_written TEXT NOT NULL,
        target TEXT CHECK (target <> ''),
        note TEXT NOT NULL DEFAULT ''
    ) STRICT;
INSERT INTO "recipe" VALUES(1,1,'2026-05-03','gold 0.8 + navy 0.2','gold 0.8 + navy 0.2','{"lab": [55.7474689266232, -10.088387505330262, 13.43965187734199], "light": "D65/2°", "reflectance": null, "name": "#7d8a6e", "kind": "hex", "covariance": null, "warnings": []}','first');
CREATE TABLE sheet (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        made TEXT NOT NULL,
        content TEXT NOT NULL
    , method INTEGER REFERENCES method (id)) STRICT;
INSERT INTO "sheet" VALUES(1,1,'2026-05-03','{
 "kind": "BathSheet",
 "job": "sage",
 "on": "2026-05-03",
 "cloth": "",
 "cloth_g": 240.0,
 "pieces": 1,
 "target": "",
 "expect": "",
 "recipe": {
  "navy": 0.2,
  "gold": 0.8
 },
 "method": {
  "liquor_ratio": 20.0,
  "alkali": "after",
  "salt": 40.0,
  "temperature": 21.0,
  "hours": 24.0,
  "soda": null,
  "soda_solution": null
 },
 "as_swatches": [],
 "wetted": true,
 "total_ml": 4800.0,
 "cloth_holds_ml": 192.0,
 "doses": [
  {
   "dye": "navy",
   "owf": 0.2,
   "dye_g": 0.48,
   "stock": {
    "dye": "navy",
    "strength_pct": 1,
    "made": "2026-05-03",
    "cold": false,
    "lot": "",
    "how": "made up to",
    "left_ml": null
   },
   "dilution": 1,
   "exact_ml": 48.0,
   "ml": 48.0,
   "error_pct": 0.0,
   "spoons": {
    "text": "3 tbsp + ½ tsp",
    "ml": 47.5,
    "error_pct": -1.041666666666663
   }
  },
  {
   "dye": "gold",
   "owf": 0.8,
   "dye_g": 1.92,
   "stock": {
    "dye": "gold",
    "strength_pct": 2,
    "made": "2026-05-03",
    "cold": false,
    "lot": "G1",
    "how": "made up to",
    "left_ml": null
   },
   "dilution": 1,
   "exact_ml": 96.0,
   "ml": 96.0,
   "error_pct": 0.0,
   "spoons": {
    "text": "6 tbsp + 1¼ tsp",
    "ml": 96.25,
    "error_pct": 0.26041666666667407
   }
  }
 ],
 "palest_first": false,
 "salt": {
  "g": 192.0,
  "g_l": 40.0,
  "solution_g_l": null,
  "solution_ml": null,
  "into_bath_ml": 0.0,
  "stock_ml": null
 },
 "soda": {
  "g": 31.2,
  "g_l": 6.5,
  "solution_g_l": null,
  "solution_ml": null,
  "into_bath_ml": 0.0,
  "stock_ml": null
 },
 "water_ml": 4464.0,
 "cost": null,
 "syringe_miss": null,
 "spoon_miss": null,
 "warnings": [
  "what the cloth is made of is not known: say it, as ''cotton 55 %, linen 45 %''. This sheet is for cotton, linen, hemp, viscose and their like: soda ash harms silk and wool, polyester stays undyed.",
  "navy: usually a mixture that varies by lot and may split on the cloth. Use the lot of your swatches."
 ],
 "settings": {
  "liquor_ratio": 20.0,
  "low_water": 5.0,
  "low_water_below": 10.0,
  "wet_pickup": 80.0,
  "tolerance": 3.0,
  "mixtures": [
   "black",
   "navy",
   "brown",
   "grey",
   "gray",
   "charcoal",
   "olive",
   "plum",
   "forest",
   "khaki",
   "moss",
   "chocolate",
   "maroon",
   "aubergine",
   "teal",
   "sage"
  ],
  "large": 1000.0,
  "pot": 20.0,
  "alkali": "after",
  "alkali_after": 1.0,
  "depths": [
   [
    0.1,
    20.0,
    5.0,
    30.0
   ],
   [
    0.5,
    30.0,
    5.5,
    40.0
   ],
   [
    1.0,
    40.0,
    6.5,
    45.0
   ],
   [
    2.0,
    50.0,
    8.0,
    50.0
   ],
   [
    4.0,
    70.0,
    10.0,
    60.0
   ],
   [
    8.0,
    90.0,
    10.0,
    60.0
   ]
  ],
  "soda_solution": null,
  "soda_solution_usual": [
   30.0,
   60.0
  ],
  "soda_share": 1.0,
  "presoak_volume": 2.0,
  "crystals": 2.7,
  "soda_monohydrate": 1.17,
  "glauber_crystals": 2.27,
  "salt_stock": null,
  "soda_stock": null,
  "small_salt_stock": 25.0,
  "small_soda_stock": 10.0,
  "drain_limit": 500.0,
  "temperature": 21.0,
  "hours": 24.0,
  "faster_by_10": 3.0,
  "coolest": 18.0,
  "slow_dyes": {
   "turquoise": 2.0
  },
  "soak_temperature": 60.0,
  "stock_strength": 1.0,
  "stock_days_warm": 7.0,
  "stock_days_cold": 28.0,
  "powder_volume": 0.6,
  "soluble": {
   "": 5.0
  },
  "bottle": 500.0,
  "stock_spare": 10.0,
  "stock_batch": 50.0,
  "units": "metric",
  "spoons": "metric",
  "measuring_step": 0.1,
  "smallest_dose": 2.5,
  "jug_from": 90.0,
  "scale_step": 1.0,
  "fewest_steps": 20.0,
  "powder_per_teaspoon": {},
  "first_depths": [
   2.0,
   0.5,
   0.125,
   0.03
  ],
  "first_mix": 0.25,
  "currency": "",
  "dye_cost": {},
  "salt_cost": null,
  "soda_cost": null
 },
 "fibre": {
  "words": "",
  "names": [],
  "undyed": [],
  "share": null,
  "weak": false,
  "hottest": null
 },
 "demo": false
}',NULL);
INSERT INTO "sheet" VALUES(2,2,'2026-05-03','{
 "kind": "BathSheet",
 "job": "ink",
 "on": "2026-05-03",
 "cloth": "",
 "cloth_g": 240.0,
 "pieces": 1,
 "target": "as dark as it goes",
 "expect": "",
 "recipe": {
  "navy": 0.2,
  "gold": 0.8
 },
 "method": {
  "liquor_ratio": 20.0,
  "alkali": "after",
  "salt": 40.0,
  "temperature": 21.0,
  "hours": 24.0,
  "soda": null,
  "soda_solution": null
 },
 "as_swatches": [],
 "wetted": true,
 "total_ml": 4800.0,
 "cloth_holds_ml": 192.0,
 "doses": [
  {
   "dye": "navy",
   "owf": 0.2,
   "dye_g": 0.48,
   "stock": {
    "dye": "navy",
    "strength_pct": 1,
    "made": "2026-05-03",
    "cold": false,
    "lot": "",
    "how": "made up to",
    "left_ml": null
   },
   "dilution": 1,
   "exact_ml": 48.0,
   "ml": 48.0,
   "error_pct": 0.0,
   "spoons": {
    "text": "3 tbsp + ½ tsp",
    "ml": 47.5,
    "error_pct": -1.041666666666663
   }
  },
  {
   "dye": "gold",
   "owf": 0.8,
   "dye_g": 1.92,
   "stock": {
    "dye": "gold",
    "strength_pct": 2,
    "made": "2026-05-03",
    "cold": false,
    "lot": "G1",
    "how": "made up to",
    "left_ml": null
   },
   "dilution": 1,
   "exact_ml": 96.0,
   "ml": 96.0,
   "error_pct": 0.0,
   "spoons": {
    "text": "6 tbsp + 1¼ tsp",
    "ml": 96.25,
    "error_pct": 0.26041666666667407
   }
  }
 ],
 "palest_first": false,
 "salt": {
  "g": 192.0,
  "g_l": 40.0,
  "solution_g_l": null,
  "solution_ml": null,
  "into_bath_ml": 0.0,
  "stock_ml": null
 },
 "soda": {
  "g": 31.2,
  "g_l": 6.5,
  "solution_g_l": null,
  "solution_ml": null,
  "into_bath_ml": 0.0,
  "stock_ml": null
 },
 "water_ml": 4464.0,
 "cost": null,
 "syringe_miss": null,
 "spoon_miss": null,
 "warnings": [
  "what the cloth is made of is not known: say it, as ''cotton 55 %, linen 45 %''. This sheet is for cotton, linen, hemp, viscose and their like: soda ash harms silk and wool, polyester stays undyed.",
  "navy: usually a mixture that varies by lot and may split on the cloth. Use the lot of your swatches."
 ],
 "settings": {
  "liquor_ratio": 20.0,
  "low_water": 5.0,
  "low_water_below": 10.0,
  "wet_pickup": 80.0,
  "tolerance": 3.0,
  "mixtures": [
   "black",
   "navy",
   "brown",
   "grey",
   "gray",
   "charcoal",
   "olive",
   "plum",
   "forest",
   "khaki",
   "moss",
   "chocolate",
   "maroon",
   "aubergine",
   "teal",
   "sage"
  ],
  "large": 1000.0,
  "pot": 20.0,
  "alkali": "after",
  "alkali_after": 1.0,
  "depths": [
   [
    0.1,
    20.0,
    5.0,
    30.0
   ],
   [
    0.5,
    30.0,
    5.5,
    40.0
   ],
   [
    1.0,
    40.0,
    6.5,
    45.0
   ],
   [
    2.0,
    50.0,
    8.0,
    50.0
   ],
   [
    4.0,
    70.0,
    10.0,
    60.0
   ],
   [
    8.0,
    90.0,
    10.0,
    60.0
   ]
  ],
  "soda_solution": null,
  "soda_solution_usual": [
   30.0,
   60.0
  ],
  "soda_share": 1.0,
  "presoak_volume": 2.0,
  "crystals": 2.7,
  "soda_monohydrate": 1.17,
  "glauber_crystals": 2.27,
  "salt_stock": null,
  "soda_stock": null,
  "small_salt_stock": 25.0,
  "small_soda_stock": 10.0,
  "drain_limit": 500.0,
  "temperature": 21.0,
  "hours": 24.0,
  "faster_by_10": 3.0,
  "coolest": 18.0,
  "slow_dyes": {
   "turquoise": 2.0
  },
  "soak_temperature": 60.0,
  "stock_strength": 1.0,
  "stock_days_warm": 7.0,
  "stock_days_cold": 28.0,
  "powder_volume": 0.6,
  "soluble": {
   "": 5.0
  },
  "bottle": 500.0,
  "stock_spare": 10.0,
  "stock_batch": 50.0,
  "units": "metric",
  "spoons": "metric",
  "measuring_step": 0.1,
  "smallest_dose": 2.5,
  "jug_from": 90.0,
  "scale_step": 1.0,
  "fewest_steps": 20.0,
  "powder_per_teaspoon": {},
  "first_depths": [
   2.0,
   0.5,
   0.125,
   0.03
  ],
  "first_mix": 0.25,
  "currency": "",
  "dye_cost": {},
  "salt_cost": null,
  "soda_cost": null
 },
 "fibre": {
  "words": "",
  "names": [],
  "undyed": [],
  "share": null,
  "weak": false,
  "hottest": null
 },
 "demo": false
}',NULL);
CREATE TABLE sign_off (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        job INTEGER NOT NULL REFERENCES job (id),
        signed TEXT NOT NULL,
        reading INTEGER NOT NULL REFERENCES reading (id),
        tolerance REAL NOT NULL CHECK (tolerance > 0),
        note TEXT NOT NULL DEFAULT ''
    ) STRICT;
INSERT INTO "sign_off" VALUES(1,'café sage',1,'2026-05-03',9,2.0,'by post');
CREATE TABLE stock (
        id INTEGER PRIMARY KEY,
        dye INTEGER NOT NULL REFERENCES dye (id),
        strength_pct REAL NOT NULL CHECK (strength_pct > 0),
        made TEXT CHECK (made <> ''),
        cold INTEGER NOT NULL CHECK (cold IN (0, 1)),
        how TEXT NOT NULL,
        left_ml REAL CHECK (left_ml >= 0)
    ) STRICT;
INSERT INTO "stock" VALUES(1,1,2.0,'2026-05-03',1,'added to',120.5);
INSERT INTO "stock" VALUES(2,2,3.33333333333333314829e-01,NULL,0,'made up to',NULL);
CREATE TABLE swatch (
        id INTEGER PRIMARY KEY,
        swatch_set INTEGER REFERENCES swatch_set (id),
        cloth INTEGER REFERENCES cloth (id),
        recipe TEXT CHECK (recipe <> ''),
        label TEXT NOT NULL
    ) STRICT;
INSERT INTO "swatch" VALUES(1,1,1,'undyed','1');
INSERT INTO "swatch" VALUES(2,1,NULL,'gold 2','2');
INSERT INTO "swatch" VALUES(3,1,NULL,NULL,'?');
INSERT INTO "swatch" VALUES(4,1,NULL,'navy 1','3');
INSERT INTO "swatch" VALUES(5,1,NULL,'gold 0.3333333333333333','4');
INSERT INTO "swatch" VALUES(6,NULL,NULL,'gold 0.8 + navy 0.2','');
INSERT INTO "swatch" VALUES(7,NULL,NULL,'gold 2','');
INSERT INTO "swatch" VALUES(8,NULL,NULL,'navy 0.1','');
INSERT INTO "swatch" VALUES(9,NULL,NULL,'gold 0.7','');
INSERT INTO "swatch" VALUES(10,2,2,'undyed','1');
INSERT INTO "swatch" VALUES(11,2,2,'navy 1','2');
INSERT INTO "swatch" VALUES(12,2,2,'navy 2','3');
INSERT INTO "swatch" VALUES(13,3,2,'undyed','1');
INSERT INTO "swatch" VALUES(14,3,2,'navy 1','2');
INSERT INTO "swatch" VALUES(15,3,2,'navy 2','3');
INSERT INTO "swatch" VALUES(16,NULL,NULL,'navy 0.3','');
CREATE TABLE swatch_set (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        added TEXT NOT NULL,
        notes TEXT NOT NULL
    , method INTEGER REFERENCES method (id), replaced TEXT CHECK (replaced <> '')) STRICT;
INSERT INTO "swatch_set" VALUES(1,'a.csv','2026-11-26','["as read"]',1,NULL);
INSERT INTO "swatch_set" VALUES(2,'linen.csv (until 2026-11-26 20:28:21)','2026-11-26','[]',2,'2026-11-26');
INSERT INTO "swatch_set" VALUES(3,'again.csv','2026-11-26','[]',2,NULL);
CREATE TABLE trial (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        dyed TEXT CHECK (dyed <> ''),
        recipe TEXT NOT NULL,
        as_written TEXT NOT NULL,
        lot TEXT NOT NULL,
        target TEXT CHECK (target <> ''),
        reading INTEGER NOT NULL REFERENCES reading (id),
        note TEXT NOT NULL DEFAULT ''
    , bath TEXT NOT NULL DEFAULT 'first bath', over INTEGER REFERENCES reading (id), method INTEGER REFERENCES method (id)) STRICT;
INSERT INTO "trial" VALUES(1,1,'2026-05-03','gold 0.8 + navy 0.2','gold 0.8 + navy 0.2','G1/N3','{"lab": [60.106956125405134, -3.4713605850285982, 0.14062408231181767], "light": "D65/10°", "reflectance": [0.26, 0.2647457243264088, 0.269394761737407, 0.27385239516643506, 0.27802780711196107, 0.28183592990595063, 0.28519917883822443, 0.2880490328269299, 0.2903274304313708, 0.29198795276555617, 0.29299676921240414, 0.2933333266711123, 0.2929907682953274, 0.29197607319096136, 0.2903099142275227, 0.2880262368598417, 0.28517156754105527, 0.28180406581688655, 0.2779923394133548, 0.27381404645870316, 0.2693543133171452, 0.26470400026866225, 0.25995785036898744, 0.2552125592039394, 0.25056480486392485, 0.24610927827488335, 0.2419367540146865, 0.2381322409191719, 0.2347732501564024, 0.23192821605450314, 0.22965510185630725], "name": "café", "kind": "reading", "covariance": null, "warnings": []}',6,'a little dark','first bath',NULL,NULL);
INSERT INTO "trial" VALUES(2,3,NULL,'navy 0.1','','',NULL,8,'','second bath',7,NULL);
INSERT INTO "trial" VALUES(3,2,'2026-05-03','navy 0.3','','',NULL,16,'on linen','first bath',NULL,2);
CREATE INDEX reading_of_swatch ON reading (swatch);
COMMIT;

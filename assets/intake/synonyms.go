package intake

import "strings"

// language of a heading; a heading that two languages share tells none.
type language uint8

const (
	noLanguage language = iota
	english
	german
	spanish
)

// Headings that mean one thing in one table and another in the next; settled by the rest of the table's headings.
const (
	openDateColumn  = "?date"   // taken_on, found_on, made_on
	openByColumn    = "?by"     // made_by, found_by, fitted_by
	openEndColumn   = "?end"    // retired_on of a splice or conveyor, removed_on of a belt
	openWhyColumn   = "?why"    // retired_why of a splice, removed_why of a belt
	openNoteColumn  = "?note"   // remark, or the German grade
	openNameColumn  = "?name"   // conveyor_name, or finding_text of a finding
	openBeltColumn  = "?belt"   // specification, or the conveyor where none is named
	openTypeColumn  = "?type"   // specification, or splice_kind
	openPlaceColumn = "?place"  // splice_position, or nothing
	openCountColumn = "?number" // splice_number, or the conveyor
)

// synonyms are the headings by field and language, folded; ';' parts them. The first of each field are the contract's,
// the others are common practice in plants' lists.
var synonyms = []struct {
	field string
	en    string
	de    string
	es    string
}{
	{"plant", "plant;site;works;plant name;site name;factory;facility", "werk;standort;betrieb;betriebsstatte;anlage name", "planta;centro;fabrica;emplazamiento;nombre de planta"},
	{"line", "line;area;section;line area;production line;system;zone;department", "linie;bereich;anlage;abschnitt;abteilung;strang", "linea;area;zona;seccion;linea de produccion"},
	{"conveyor", "tag;conveyor;conveyor belt;belt conveyor;conveyor code;conveyor tag number;asset no;asset number;conv no;conv;conveyor id;conveyor no;conveyor number;conveyor tag;tag no;tag number;conv id;conveyor tag no;equipment;equipment no;equipment id;equipment tag;conv number;belt no;belt number;conveyor ref;asset tag",
		"forderer;forderband;band;band nr;bandnr;bandnummer;band nummer;forderer nr;forderer nummer;forderband nr;foerderer;foerderband;equipment nr;kennzeichen;akz",
		"transportador;cinta;n o de cinta;no de cinta;n de cinta;numero de cinta;num de cinta;equipo;cinta transportadora;n o de transportador;no de transportador;codigo de cinta;cinta no;cinta n o;cod equipo;codigo de equipo"},
	{"conveyor_name", "name;service;conveyor name;conveyor description;equipment description;equipment name", "bezeichnung;bandbezeichnung;benennung;name", "nombre;servicio;nombre de la cinta;denominacion;descripcion de la cinta"},
	{openNameColumn, "description;desc", "beschreibung", "descripcion"},
	{"product", "product;conveyed material;material conveyed", "produkt;fordergut;foerdergut", "producto"},
	{"isolation_group", "isolation group;isolation;isolation point;lockout group", "freischaltgruppe;freischaltung", "grupo de bloqueo;bloqueo"},
	{"access_note", "access;access note;access notes", "zugang;zugangshinweis", "acceso;nota de acceso"},
	{"speed", "speed;belt speed;conveyor speed;velocity", "geschwindigkeit;geschw;bandgeschwindigkeit;gurtgeschwindigkeit;bandgeschw", "velocidad;velocidad de banda;velocidad de cinta;velocidad de la cinta;velocidad de la banda;vel"},
	{"centre_distance", "centres;center distance;c c;centre distance;centers;conveyor centres;conveyor centers;centre to centre;center to center;centre centre;pulley centres;pulley centers", "achsabstand;achsabst;trommelabstand", "distancia entre centros;entre centros;distancia entre ejes;entre ejes"},
	{"take_up_travel", "take up;take up travel;takeup;takeup travel;t u travel;tu travel", "spannweg", "carrera de tensado;carrera del tensor;tensado"},
	{"incline", "incline;inclination;slope;incline angle", "neigung;steigung;neigungswinkel", "inclinacion;pendiente"},
	{"status", "status;in use;in service", "status;zustand", "estado;en uso;situacion"},
	{openBeltColumn, "belt", "", "banda"},
	{"specification", "belt type;spec;specification;belt spec;belt specification;type of belt;belt grade;carcass;belt construction;belting", "gurt;gurttyp;gurtqualitat;gurt typ;gurtart;gurtsorte;gurtbezeichnung;gurtqualitaet", "tipo de banda;tipo banda;especificacion;especificacion de banda;calidad de banda;tipo de correa"},
	{openTypeColumn, "type;kind", "typ;art", "tipo"},
	{"width", "width;belt width;bw;b w", "breite;gurtbreite;bandbreite", "ancho;ancho de banda;anchura;ancho banda;ancho de la banda"},
	{"loop_length", "length;belt length;loop length;total belt length;endless length;belt length total;loop;len", "lange;gurtlange;bandlange;laenge;gurtlaenge;umfang", "longitud;desarrollo;longitud de banda;largo;longitud banda;longitud de la banda;desarrollo de banda;long"},
	{"thickness", "thickness;thk;belt thickness;thick", "dicke;gurtdicke;starke;gurtstarke", "espesor;grosor;espesor de banda;espesor banda"},
	{"working_tension", "working tension;piw;rating;piw rating;belt piw;tension rating;belt rating;rated tension;working tension rating", "zul zugkraft;zulassige zugkraft;zugkraft", "tension de trabajo;tension admisible;tension nominal"},
	{"roll_number", "roll;batch;lot;roll no;roll number;batch no;lot no;batch number;lot number;roll batch", "rolle;charge;rolle nr;rollennummer;chargennummer;charge nr;rollen nr", "rollo;lote;n o de rollo;no de rollo;n o de lote;numero de rollo;numero de lote"},
	{"fitted_on", "fitted;installed;belt date;belt changed;fitted on;installed on;belt fitted;belt installed;date fitted;date installed;install date;belt fitted on;installation date;belt installed on;fitting date;belt change;last belt change;belt change date", "aufgelegt am;einbau;aufgelegt;einbaudatum;eingebaut;eingebaut am;gurt aufgelegt;gurt aufgelegt am;auflegedatum;gurtwechsel;gurt vom;gurteinbau", "montaje;fecha de montaje;montada;montado;fecha montaje;instalada;instalado;fecha de instalacion;montaje de banda;banda montada;cambio de banda"},
	{"fitted_by", "fitted by;installed by;belt fitted by", "aufgelegt durch;eingebaut durch;aufgelegt von;montiert durch", "montado por;montada por;instalado por"},
	{"removed_on", "belt removed on;belt removed;belt out;belt off;belt taken off", "gurt entfernt;gurt entfernt am;gurt ausgebaut;gurt ausgebaut am;gurt abgelegt", "banda retirada;banda retirada el;banda desmontada"},
	{"removed_why", "belt removed why;why belt removed;reason belt removed", "grund gurt entfernt;grund des gurtwechsels", "motivo de retirada de banda;motivo retirada banda"},
	{"splice_number", "splice no;joint no;splice;splice number;joint number;splice id;joint id;splice mark;splice nr;splice num", "verbindung nr;verbindungsnummer;verbindung nummer;verbindungs nr;verb nr", "n o de empalme;no de empalme;n de empalme;numero de empalme;empalme no;empalme n o;num de empalme;empalme num"},
	{openCountColumn, "no;number;num", "nr;nummer", "n o;numero"},
	{"splice_position", "splice position;joint position;splice location;position along belt", "lage der verbindung;verbindung position", "posicion del empalme;posicion de empalme"},
	{openPlaceColumn, "position;pos", "position;pos", "posicion;pos"},
	{"splice_kind", "splice type;joint;joint type;splice kind;type of splice;type of joint;splice method;joint method;splice style", "verbindung;verbindungsart;art der verbindung;verbindungstyp", "tipo de empalme;empalme;tipo empalme;tipo de union;clase de empalme"},
	{"made_on", "made;made on;spliced;splice date;date made;spliced on;splice made;date spliced;joint date;date of splice;splice made on;joint made;joint made on;date of joint;last splice;last spliced;last splice date", "hergestellt;verbindung vom;hergestellt am;verbindung am;verbunden am;verbunden;herstelldatum;verbindungsdatum;verbindung hergestellt;verbindung hergestellt am", "fecha de empalme;empalmado;empalmado el;fecha empalme;fecha del empalme;hecho el;realizado el;realizado"},
	{"made_by", "spliced by;made by;crew;splicer;splice crew;splicing crew;joint by;splice by;vulcaniser;vulcanizer", "ausfuhrung;hergestellt durch;hergestellt von;ausgefuhrt durch;ausgefuehrt durch;ausfuehrung;verbunden durch;monteur", "realizado por;cuadrilla;empalmado por;hecho por;empalmador"},
	{openByColumn, "by;who;done by;name of crew", "durch;von;wer", "por;quien"},
	{openEndColumn, "removed;out;cut out;removed on;date removed;taken out;taken off;date out;out on;ended", "entfernt;ausgebaut;entfernt am;ausgebaut am;herausgeschnitten", "retirado;retirada;retirado el;fecha de retirada;fecha retirada;cortado"},
	{"retired_on", "retired;retired on;splice removed;splice removed on;splice out;joint removed;splice ended;splice retired;splice cut out;joint cut out;conveyor retired;scrapped on;retired date;date retired", "verbindung entfernt;verbindung ausgebaut;stillgelegt am;verbindung entfernt am;stilllegung", "empalme retirado;fecha de baja;baja;empalme retirado el"},
	{openWhyColumn, "reason;why removed;why;reason removed;removal reason;reason for removal;cause;why out", "grund;ursache;warum;entfernt weil", "motivo;causa;motivo de retirada;razon"},
	{"retired_why", "why retired;splice removed why;reason retired;retired why", "grund verbindung entfernt", "motivo de baja"},
	{"failure_mode", "failure mode;mode of failure;failure;type of failure", "schadensart;schadensbild;ausfallart", "modo de fallo;tipo de fallo"},
	{"finger_pitch", "finger pitch", "fingerteilung", "paso de dedos;paso de dedo"},
	{"finger_length", "finger length", "fingerlange;fingerlaenge", "longitud de dedos;longitud de dedo;largo de dedos"},
	{"step_length", "step length;length of step;step len", "stufenlange;stufenlaenge", "longitud de escalon;largo de escalon;escalon"},
	{"bias_angle", "bias;bias angle", "schragwinkel;schraege;schrage;schraegwinkel", "angulo;angulo de bies;bies;sesgo"},
	{"taken_on", "read on;reading date;date read;date of reading;date taken;taken on;reading taken;read date", "abgelesen am;ablesedatum;abgelesen;ablesung;ablesung am;ablesetag;stand vom", "fecha de lectura;leido el;fecha lectura;lectura del"},
	{openDateColumn, "date;day;when", "datum;tag;am", "fecha;dia"},
	{"meter_reading", "hours;meter;hour meter;run;hours meter;total hours;hours total;current hours;run hrs;running hours;run hours;meter reading;hour meter reading;hours run;hrs;operating hours;hourmeter;meter hours;reading;hours reading;run hour meter;run time;hmr", "betriebsstunden;zahlerstand;bh;betriebsstundenzahler;stunden;zaehlerstand;laufstunden;bh stand;stundenzahler", "horas;horometro;lectura;horas de marcha;horas de funcionamiento;lectura del horometro;lectura de horometro;contador de horas;lectura horometro;horas de operacion"},
	{"meter_event", "event;meter event;meter change;meter changed;meter replaced;new meter", "zahlerwechsel;ereignis;zaehlerwechsel;zahlertausch", "cambio de horometro;evento;cambio de contador"},
	{"meter_start", "meter start;start of new meter;new meter start;start reading;new meter reading", "anfangsstand;startwert;anfangsstand neuer zahler", "lectura inicial;inicio del horometro"},
	{"found_on", "inspected;inspected on;inspection date;date inspected;found on;date found;date of inspection", "gepruft am;gepruft;pruefdatum;prufdatum;geprueft am;inspiziert am;festgestellt am", "inspeccionado;inspeccionado el;fecha de inspeccion;fecha inspeccion;revisado"},
	{"category", "finding;defect;category;finding category;damage;fault;defect type", "befund;mangel;schaden;kategorie;feststellung", "hallazgo;defecto;categoria;dano;averia"},
	{"grade", "grade;severity;finding grade;sev", "stufe;schweregrad;befundstufe", "grado;gravedad;severidad"},
	{"finding_text", "finding text;details;observation;finding details", "befundtext;einzelheiten", "detalle;detalles;texto del hallazgo;observacion"},
	{"found_by", "inspector;found by;inspected by;reported by", "prufer;gepruft von;pruefer;gepruft durch;geprueft von", "inspector;inspeccionado por;revisado por"},
	{"target", "target;part;component;location;where;item", "bauteil;ort;stelle;teil;objekt", "componente;ubicacion;parte;lugar;elemento"},
	{"measurement", "measured;measurement;measured value;measure;value measured", "messwert;gemessen", "medida;medicion;valor medido"},
	{"running", "running;belt running;in motion", "in betrieb;lauft;laeuft", "en marcha;en movimiento"},
	{"remark", "remark;remarks;comment;comments;notes", "bemerkung;bemerkungen;anmerkung;anmerkungen;kommentar;hinweis", "observaciones;comentario;comentarios;nota;notas;observ"},
	{openNoteColumn, "note", "note", ""},
}

// synonym is what one folded heading can mean.
type synonym struct {
	field string
	lang  language
}

var headingMeans = func() map[string]synonym {
	m := map[string]synonym{}
	for _, s := range synonyms {
		for lang, list := range map[language]string{english: s.en, german: s.de, spanish: s.es} {
			for _, text := range strings.Split(list, ";") {
				if text == "" {
					continue
				}
				if old, ok := m[text]; ok && old.lang != lang {
					m[text] = synonym{old.field, noLanguage}
					continue
				}
				m[text] = synonym{s.field, lang}
			}
		}
	}
	return m
}()

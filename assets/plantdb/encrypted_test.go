package plantdb

import "testing"

// TestPostgreSQLBeyondThisMachineIsEncrypted reads addresses with every mode of TLS (PostgreSQL documentation, "SSL
// Support", table of modes): beyond this machine none gives up encryption in silence, and where nothing is said the
// certificate is checked against the host's name.
func TestPostgreSQLBeyondThisMachineIsEncrypted(t *testing.T) {
	t.Setenv("PGSSLMODE", "")
	for _, c := range []struct {
		dsn             string
		tls, checked    bool // TLS at all; the certificate checked, with the name
		plain           bool // without TLS, at first or after
		raised, refused bool
	}{
		{dsn: "postgres://u:p@db.example/belts", tls: true, checked: true, raised: true},
		{dsn: "postgres://u:p@192.0.2.9:5433/belts", tls: true, checked: true, raised: true},
		{dsn: "postgres://u:p@db.example/belts?sslmode=prefer", tls: true, checked: true, raised: true},
		{dsn: "postgres://u:p@db.example/belts?sslmode=allow&connect_timeout=4", tls: true, checked: true, raised: true},
		{dsn: "postgres://u:p@db.example/belts?sslmode=verify-full", tls: true, checked: true},
		{dsn: "postgres://u:p@db.example/belts?sslmode=require", tls: true},
		{dsn: "postgres://u:p@db.example/belts?sslmode=disable", plain: true},
		{dsn: "postgres://u:p@127.0.0.1,db.example/belts", tls: true, checked: true, raised: true},
		{dsn: "host=db.example user=u dbname=belts", tls: true, checked: true, raised: true},
		{dsn: "host=db.example user=u dbname=belts sslmode=prefer", tls: true, checked: true, raised: true},
		{dsn: "postgres://u:p@localhost/belts", tls: true, plain: true},
		{dsn: "postgres://u:p@127.0.0.1/belts?sslmode=disable", plain: true},
		{dsn: "postgres://u:p@[::1]/belts", tls: true, plain: true},
		{dsn: "host=/run/postgresql user=u dbname=belts", plain: true},
		{dsn: "postgres://u:p@db.example/belts?sslmode=sometimes", refused: true},
	} {
		cfg, raised, err := postgresConfig(c.dsn)
		if (err != nil) != c.refused {
			t.Errorf("%s: %v", c.dsn, err)
		}
		if err != nil {
			continue
		}
		tls, plain, checked := cfg.TLSConfig != nil, cfg.TLSConfig == nil, cfg.TLSConfig != nil && !cfg.TLSConfig.InsecureSkipVerify && cfg.TLSConfig.ServerName != ""
		for _, f := range cfg.Fallbacks {
			tls, plain = tls || f.TLSConfig != nil, plain || f.TLSConfig == nil
			checked = checked && f.TLSConfig != nil && !f.TLSConfig.InsecureSkipVerify
		}
		if tls != c.tls || plain != c.plain || checked != c.checked || raised != c.raised {
			t.Errorf("%s: TLS %v, without %v, checked %v, raised %v; want %v, %v, %v, %v", c.dsn, tls, plain, checked, raised, c.tls, c.plain, c.checked, c.raised)
		}
	}
}

module drumhead

go 1.26.0

require (
	github.com/cloudflare/circl v1.6.5 // indirect
	github.com/ergochat/readline v0.1.3 // indirect
	github.com/klauspost/compress v1.20.4 // indirect
	github.com/pelletier/go-toml/v2 v2.4.3 // indirect
	go.etcd.io/bbolt v1.5.0 // indirect
	golang.org/x/crypto v0.59.0 // indirect
	golang.org/x/mod v0.43.0 // indirect
	golang.org/x/sync v0.25.0 // indirect
	golang.org/x/sys v0.50.0 // indirect
	golang.org/x/term v0.48.0 // indirect
	golang.org/x/text v0.44.0 // indirect
)

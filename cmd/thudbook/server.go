package main

import (
	"thudbook/server"
	"thudbook/server/tell"
	"thudbook/web/httpkit"
)

// serverCmd runs the server until it is told to stop.
type serverCmd struct {
	configured
	Data         string   `help:"Folder that holds the server's store; made when it is not there." required:"" type:"path" placeholder:"DIR"`
	Listen       string   `help:"Address to listen on. Plain HTTP is for loopback; elsewhere --cert and --key, or --proxy, are needed. Default: ${default}." default:"127.0.0.1:8370" placeholder:"ADDR"`
	ListenFile   string   `help:"Write the address in use to this file once the server is ready." type:"path" placeholder:"FILE"`
	Name         string   `help:"Name of the server, shown in its heading." placeholder:"NAME"`
	Cert         string   `help:"Certificate chain (PEM); read again when it changes." type:"path" placeholder:"FILE"`
	Key          string   `help:"Key of the certificate (PEM)." type:"path" placeholder:"FILE"`
	Proxy        []string `help:"Address or network of a proxy in front of the server that speaks TLS; plain HTTP is answered to it alone, and its X-Forwarded-For and X-Forwarded-Proto are believed. May be given several times." placeholder:"ADDR|NET"`
	PublicURL    string   `help:"Address of this server as people reach it, for links in messages, as https://thudbook.example.org" placeholder:"URL"`
	MailServer   string   `help:"Mail server that takes messages (SMTP), as mail.example.org:587; without it mail waits." placeholder:"HOST:PORT"`
	MailFrom     string   `help:"Address that mail comes from." placeholder:"ADDRESS"`
	MailUser     string   `help:"Name for the mail server; empty: it asks for none." placeholder:"NAME"`
	MailPassword string   `help:"File with the password for the mail server." type:"path" placeholder:"FILE"`
	MailTLS      string   `name:"mail-tls" help:"How the connection to the mail server is protected: starttls, tls, or none for one on this machine. Default: ${default}." enum:"starttls,tls,none" default:"starttls" placeholder:"KIND"`
	HookPrivate  bool     `help:"Let webhooks go to addresses of this machine and of private networks."`
	PoolCAFile   string   `name:"pool-ca-file" help:"Certificates (PEM) of authorities beside the system's that may sign those of servers that labs are fetched from." type:"path" placeholder:"FILE"`
	OpenMetrics  bool     `help:"Answer /metrics to anybody; without it only to callers on this machine that no proxy passed on."`
}

// Run starts the server. Exit code 3 means damage found in the store, 4 a fork
// or a rolled-back store.
func (c *serverCmd) Run(a *app) error {
	proxies, err := httpkit.ParseProxies(c.Proxy)
	if err != nil {
		return err
	}
	err = server.Run(a.Ctx, server.Options{
		Data: c.Data, Listen: c.Listen, ListenFile: c.ListenFile, Name: c.Name, CertFile: c.Cert, KeyFile: c.Key,
		PublicURL: c.PublicURL, HookPrivate: c.HookPrivate, Mail: tell.MailOptions{Server: c.MailServer, From: c.MailFrom, User: c.MailUser, PasswordFile: c.MailPassword, TLS: c.MailTLS},
		Proxies: proxies, OpenMetrics: c.OpenMetrics, PoolCAFile: c.PoolCAFile, Version: version(), Log: a.Log, Out: a.Out,
	})
	if err == nil {
		return nil
	}
	return failed(a, err)
}

#!/usr/bin/env bash
# Makes an authority of your own and a certificate each for redis, postgres and the front, in FOLDER:
#   deploy/make-certificates.sh tls [NAME OF THE FRONT, such as quotes.example.com]
# A certificate of your company for the front: put its chain and key at FOLDER/front/fullchain.pem and FOLDER/front/key.pem. One that
# this script did not make it leaves alone. The keys can be read by whoever enters the folder, because each server reads its own as a user
# of its own; the folder lets its owner in alone. The authority's key is thrown away. To renew: deploy/renew-certificates.sh.
set -euo pipefail
folder=${1:?name a folder}; front=${2:-localhost}; days=${DAYS:-825}
umask 077; mkdir -p "$folder"; cd "$folder"
work=$(mktemp -d .new.XXXXXX); trap 'rm -rf "$work"' EXIT
openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -sha256 -days "$days" -subj "/CN=Blankwright fleet of $(date -u +%Y-%m-%dT%H:%M:%SZ)" \
  -addext basicConstraints=critical,CA:TRUE -addext keyUsage=critical,keyCertSign,cRLSign -keyout "$work/authority.key" -out "$work/ca.crt"
certify() { # name, certificate, key, further names
  openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -sha256 -subj "/CN=$1" -keyout "$work/$1.key" -out "$work/$1.csr"
  openssl x509 -req -in "$work/$1.csr" -CA "$work/ca.crt" -CAkey "$work/authority.key" -CAcreateserial -sha256 -days "$days" -out "$work/$1.crt" \
    -extfile <(printf 'subjectAltName=DNS:%s,DNS:localhost,IP:127.0.0.1%s\nextendedKeyUsage=serverAuth\nauthorityKeyIdentifier=keyid\n' "$1" "$4")
  mkdir -p "$1"; chmod 0755 "$1"; chmod 0644 "$work/$1.key" "$work/$1.crt"
  mv -f "$work/$1.key" "$1/$3"; mv -f "$work/$1.crt" "$1/$2"
}
# Whoever connects goes on trusting the authority before this one, so that nothing breaks between here and the servers' reload.
mkdir -p authority; chmod 0755 authority
if [ -s authority/newest.crt ]; then cat "$work/ca.crt" authority/newest.crt >"$work/both.crt"; else cp "$work/ca.crt" "$work/both.crt"; fi
chmod 0644 "$work/both.crt" "$work/ca.crt"; mv -f "$work/both.crt" authority/ca.crt
certify redis server.crt server.key ''
certify postgres server.crt server.key ''
if [ ! -s front/fullchain.pem ] || openssl x509 -in front/fullchain.pem -noout -issuer | grep -q 'Blankwright fleet'; then
  certify front fullchain.pem key.pem ",DNS:$front"
else
  echo 'front/fullchain.pem was not made by this script, and stays as it is' >&2
fi
mv -f "$work/ca.crt" authority/newest.crt

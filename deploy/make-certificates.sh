#!/usr/bin/env bash
# Makes an authority of your own and a certificate each for redis, postgres and front, in FOLDER:
#   deploy/make-certificates.sh tls [NAME OF THE FRONT, such as quotes.example.com]
# The keys can be read by whoever enters the folder, because each server reads its own as a user of its own; the folder lets
# its owner in alone. The authority's key is thrown away: to renew, run it again, then start the fleet anew.
set -euo pipefail
folder=${1:?name a folder}; front=${2:-localhost}; days=${DAYS:-825}
umask 077; mkdir -p "$folder"; cd "$folder"
openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -sha256 -days "$days" -subj "/CN=Blankwright fleet" \
  -addext basicConstraints=critical,CA:TRUE -addext keyUsage=critical,keyCertSign,cRLSign -keyout authority.key -out ca.crt
for name in redis postgres front; do
  openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -sha256 -subj "/CN=$name" -keyout "$name.key" -out "$name.csr"
  openssl x509 -req -in "$name.csr" -CA ca.crt -CAkey authority.key -CAcreateserial -sha256 -days "$days" -out "$name.crt" \
    -extfile <(printf 'subjectAltName=DNS:%s,DNS:localhost,IP:127.0.0.1%s\nextendedKeyUsage=serverAuth\n' "$name" \
      "$([ "$name" = front ] && printf ',DNS:%s' "$front")")
done
rm -f authority.key ./*.csr ./*.srl; chmod 0644 ./*.key ./*.crt

# Read by the scripts that open a backup: `unpack_backup FILE` fills $work, and ends the script when one byte is not as it was written.
unpack_backup() {
  [ -s "$1" ] || die "there is no backup at $1"
  work=$(mktemp -d); trap 'rm -rf "$work"' EXIT
  case $1 in
    *.enc) openssl enc -d -aes-256-cbc -pbkdf2 -iter 600000 -pass "file:${BLANKWRIGHT_BACKUP_PASSPHRASE_FILE:-$(setting BLANKWRIGHT_BACKUP_PASSPHRASE_FILE)}" -in "$1" | tar -C "$work" -xf - ;;
    *) tar -C "$work" -xf "$1" ;;
  esac || die "$1 cannot be unpacked"
  (cd "$work" && sha256sum --quiet -c SHA256SUMS) || die "$1 is not as it was written"
}

#!/bin/sh
# The alerts of deploy/alerts.yaml as the Prometheus operator takes them:
#   deploy/kubernetes-optional/monitoring/rules.sh | kubectl apply -n blankwright -f -
set -eu
printf 'apiVersion: monitoring.coreos.com/v1\nkind: PrometheusRule\nmetadata:\n  name: blankwright\nspec:\n'
grep -v '^#' "$(dirname "$0")/../../alerts.yaml" | sed 's/^/  /'

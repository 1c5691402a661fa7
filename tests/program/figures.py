"""What the general OpenMetrics parser of the package prometheus-client makes of the text on stdin.

Prints every family: type, unit, and its samples with labels. The parser is strict: names, types, units, order, EOF.
"""
import json
import sys

from prometheus_client.openmetrics.parser import text_string_to_metric_families

families = {}
for family in text_string_to_metric_families(sys.stdin.read()):
    samples = [{"name": s.name, "labels": s.labels, "value": s.value} for s in family.samples]
    families[family.name] = {"type": family.type, "unit": family.unit, "help": family.documentation, "samples": samples}
print(json.dumps(families))

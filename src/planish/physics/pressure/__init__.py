"""The pressure under the wafer: plate, zones, retaining ring, layered pad, summits."""

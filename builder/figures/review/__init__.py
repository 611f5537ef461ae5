"""What deserves attention: clearance checks, discrepancies, cautions, plausibility, readiness for delivery."""

"""One-page sheets and what every PDF shares: typst, the typefaces, the QR code, values of the record as rows."""

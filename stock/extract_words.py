"""What every printed sheet says of keeping records and of its own limits."""

RETENTION = (
    "Keep this register's records as long as the rules you work under ask: three years for Louisiana's turtle-farm "
    "records (LAC 7:XXI.1919), five years after the expiry of a federal wildlife permit (50 CFR 13.46). The register "
    "itself deletes nothing."
)
NOT_ADVICE = (
    "Not legal advice: confirm what must be kept and shown with the state department of agriculture, the state "
    "wildlife agency and the US Fish and Wildlife Service."
)

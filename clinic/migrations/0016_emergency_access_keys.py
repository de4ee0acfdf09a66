from django.db import migrations


class Migration(migrations.Migration):
    """The keys of emergency accesses to child and clinician carry their organization along."""

    dependencies = [("clinic", "0015_emergency_access")]

    operations = [migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop)]

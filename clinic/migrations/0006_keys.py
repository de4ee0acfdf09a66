from django.db import migrations


class Migration(migrations.Migration):
    """A notice's key to whom it tells carries its organization along."""

    dependencies = [("clinic", "0005_notices")]

    operations = [migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop)]

from django.db import migrations


class Migration(migrations.Migration):
    """The keys of corrections carry their organization along."""

    dependencies = [("scheduling", "0008_corrections")]

    operations = [migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop)]

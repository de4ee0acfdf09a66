from django.db import migrations


class Migration(migrations.Migration):
    """The keys of openings and of flags that speak of another document carry their organization along."""

    dependencies = [("clinic", "0011_desk")]

    operations = [migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop)]

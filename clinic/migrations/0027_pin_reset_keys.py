from django.db import migrations


class Migration(migrations.Migration):
    """The keys of a PIN's reset carry their organization along."""

    dependencies = [("clinic", "0026_pin_resets")]

    operations = [migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop)]

from django.db import migrations

AGREEING = """
ALTER TABLE clinic_disclosure ADD CONSTRAINT disclosure_episode_is_the_clients
    FOREIGN KEY (organization_id, episode_id, client_id) REFERENCES clinic_episode (organization_id, id, client_id);
"""


class Migration(migrations.Migration):
    """The new table's keys carry their organization along, and the episode its client."""

    dependencies = [("clinic", "0020_disclosures")]

    operations = [
        migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop),
        migrations.RunSQL(AGREEING, migrations.RunSQL.noop),
    ]

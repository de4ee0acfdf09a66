from django.db import migrations

SCOPE = "SELECT scope_foreign_keys()"

AGREEING = """
ALTER TABLE scheduling_participation ADD CONSTRAINT participation_episode_is_the_clients
    FOREIGN KEY (organization_id, episode_id, client_id) REFERENCES clinic_episode (organization_id, id, client_id);
ALTER TABLE scheduling_participationnote ADD CONSTRAINT participation_note_document_is_of_the_episode
    FOREIGN KEY (organization_id, document_id, episode_id) REFERENCES clinic_document (organization_id, id, episode_id);
ALTER TABLE scheduling_participationnote ADD CONSTRAINT participation_note_is_of_the_same_episode
    FOREIGN KEY (organization_id, participation_id, episode_id)
    REFERENCES scheduling_participation (organization_id, id, episode_id);
"""


class Migration(migrations.Migration):
    """Every key carries its organization along, its episode, its client."""

    dependencies = [("scheduling", "0001_tables")]

    operations = [
        migrations.RunSQL(SCOPE, migrations.RunSQL.noop),
        migrations.RunSQL(AGREEING, migrations.RunSQL.noop),
    ]

from django.db import migrations

AGREEING = """
ALTER TABLE scheduling_fact ADD CONSTRAINT fact_episode_is_the_clients
    FOREIGN KEY (organization_id, episode_id, client_id) REFERENCES clinic_episode (organization_id, id, client_id);
ALTER TABLE scheduling_deadline ADD CONSTRAINT deadline_episode_is_the_clients
    FOREIGN KEY (organization_id, episode_id, client_id) REFERENCES clinic_episode (organization_id, id, client_id);
ALTER TABLE scheduling_deadline ADD CONSTRAINT deadline_anchor_is_of_the_episode
    FOREIGN KEY (organization_id, anchor_id, episode_id) REFERENCES scheduling_fact (organization_id, id, episode_id);
"""


class Migration(migrations.Migration):
    """The clocks' keys carry their organization along, their episode, their client."""

    dependencies = [("scheduling", "0010_clocks")]

    operations = [
        migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop),
        migrations.RunSQL(AGREEING, migrations.RunSQL.noop),
    ]

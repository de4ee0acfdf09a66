from django.db import migrations

SCOPE = "SELECT scope_foreign_keys()"

AGREEING = """
ALTER TABLE goals_goal ADD CONSTRAINT goal_episode_is_the_clients
    FOREIGN KEY (organization_id, episode_id, client_id) REFERENCES clinic_episode (organization_id, id, client_id);
ALTER TABLE goals_goal ADD CONSTRAINT goal_key_with_episode UNIQUE (organization_id, id, episode_id);
ALTER TABLE goals_goal ADD CONSTRAINT goal_parent_is_of_the_episode
    FOREIGN KEY (organization_id, parent_id, episode_id) REFERENCES goals_goal (organization_id, id, episode_id);
ALTER TABLE goals_measurement ADD CONSTRAINT measurement_goal_is_of_the_episode_and_measure
    FOREIGN KEY (organization_id, goal_id, episode_id, measure)
    REFERENCES goals_goal (organization_id, id, episode_id, measure);
ALTER TABLE goals_measurement ADD CONSTRAINT measurement_document_is_of_the_episode
    FOREIGN KEY (organization_id, document_id, episode_id) REFERENCES clinic_document (organization_id, id, episode_id);
ALTER TABLE goals_measurement ADD CONSTRAINT measurement_version_is_of_the_document
    FOREIGN KEY (organization_id, version_id, document_id)
    REFERENCES clinic_documentversion (organization_id, id, document_id);
ALTER TABLE goals_measurement ADD CONSTRAINT measurement_episode_is_the_clients
    FOREIGN KEY (organization_id, episode_id, client_id) REFERENCES clinic_episode (organization_id, id, client_id);
ALTER TABLE goals_reviewitem ADD CONSTRAINT review_item_goal_is_of_the_episode
    FOREIGN KEY (organization_id, goal_id, episode_id) REFERENCES goals_goal (organization_id, id, episode_id);
"""


class Migration(migrations.Migration):
    """Every key carries its organization along, its episode, its client, its measure."""

    dependencies = [("goals", "0001_tables")]

    operations = [
        migrations.RunSQL(SCOPE, migrations.RunSQL.noop),
        migrations.RunSQL(AGREEING, migrations.RunSQL.noop),
    ]

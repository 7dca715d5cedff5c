"""What a tablet is told comes next, of every finished check that the demo holds."""

import pytest
from django.test import Client

from qa.models import Check, CheckState, FitPlan, PlanEnd
from shop.models import Person
from tests.qa.test_acts import put
from tests.qa.test_at_the_fuselage import done, next_of


@pytest.mark.either_database
def test_each_finished_check_of_the_demo_is_told_what_is_next_as_its_own(demo_db):
    """Also where its joint stands in a plan that was taken from the check of another:
    a tablet takes no answer about another check than the one it asked of."""
    client = Client()
    client.force_login(Person.objects.get(username="bea"))
    finished = Check.objects.filter(state__state=CheckState.State.FINISHED)
    of_another = []
    for check in finished.select_related("fit_up__joint"):
        told = next_of(client, check)
        assert check.label in told["html"]
        assert check.fit_up.joint.name in told["html"]
        plans = FitPlan.objects.filter(entry_id=told["plan"], joints__fit_check=check)
        if any(plan.fit_check_id != check.pk for plan in plans):
            of_another.append((plans[0], told))
    # By any of them it is recorded that the plan was done.
    plan, told = of_another[-1]
    answer = put(client, done(told), form=told["form"], by="bea")
    assert answer.status_code == 201, answer.content
    assert PlanEnd.objects.filter(plan=plan).exists()

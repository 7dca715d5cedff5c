# All tables of shop before the first release; made from the models by Django 5.2.19.

import django.core.validators
import django.db.models.deletion
import django.db.models.expressions
import django.db.models.functions.datetime
import shop.migration_operations
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
        shop.migration_operations.CreateTables(
            operations=[migrations.CreateModel(
                name='Incarnation',
                fields=[
                    ('id', models.UUIDField(default=uuid.uuid4, primary_key=True, serialize=False)),
                    ('started_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                    ('reason', models.CharField(default='made', max_length=60)),
                ],
            ), migrations.CreateModel(
                name='Entry',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('act', models.UUIDField(unique=True)),
                    ('form', models.CharField(max_length=40)),
                    ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ('device', models.CharField(blank=True, max_length=64)),
                    ('made_at', models.CharField(blank=True, max_length=40)),
                    ('seq', models.BigIntegerField(blank=True, null=True)),
                    ('received_at', models.DateTimeField()),
                    ('claimed', models.BooleanField(default=False)),
                    ('fingerprint', models.CharField(max_length=64)),
                    ('body', models.TextField()),
                    ('digest', models.CharField(max_length=64)),
                ],
                options={
                    'verbose_name_plural': 'entries',
                    'indexes': [models.Index(fields=['received_at'], name='shop_entry_receive_4d59fe_idx')],
                },
            ), migrations.CreateModel(
                name='Seal',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('position', models.BigIntegerField(unique=True)),
                    ('entry', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='seal', to='shop.entry')),
                    ('digest', models.CharField(max_length=64)),
                ],
                options={
                    'ordering': ('position',),
                },
            ), migrations.CreateModel(
                name='Counter',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('scope', models.CharField(max_length=80, unique=True)),
                    ('last', models.PositiveBigIntegerField(default=0)),
                ],
            ), migrations.CreateModel(
                name='AirframeType',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('code', models.CharField(max_length=20, unique=True, verbose_name='code')),
                    ('name', models.CharField(max_length=120, verbose_name='name')),
                ],
                options={
                    'ordering': ('code',),
                },
            ), migrations.CreateModel(
                name='Airframe',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('type', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='airframes', to='shop.airframetype')),
                    ('serial', models.CharField(max_length=40, unique=True, verbose_name='serial')),
                    ('name', models.CharField(blank=True, max_length=120, verbose_name='name')),
                    ('uuid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                    ('line_number', models.PositiveIntegerField(verbose_name='line number')),
                ],
                options={
                    'ordering': ('type__code', 'line_number'),
                    'constraints': [models.UniqueConstraint(fields=('type', 'line_number'), name='airframe_line_number_once')],
                },
            ), migrations.CreateModel(
                name='Position',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('type', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='positions', to='shop.airframetype')),
                    ('parent', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='children', to='shop.position')),
                    ('code', models.CharField(max_length=40, verbose_name='code')),
                    ('name', models.CharField(max_length=120, verbose_name='name')),
                    ('hand', models.CharField(choices=[('left', 'left'), ('right', 'right'), ('none', 'no hand')], default='none', max_length=5, verbose_name='hand')),
                    ('part_number', models.CharField(blank=True, max_length=60, verbose_name='part number')),
                    ('arm_nm', models.BigIntegerField(editable=False, null=True)),
                    ('arm_text', models.CharField(blank=True, max_length=40, verbose_name='arm')),
                    ('path', models.CharField(editable=False, max_length=400)),
                ],
                options={
                    'ordering': ('type__code', 'path'),
                    'constraints': [models.UniqueConstraint(fields=('type', 'code'), name='position_code_once', violation_error_message='This code is taken on this type.'), models.CheckConstraint(condition=models.Q(('parent__isnull', True), models.Q(('parent', models.F('id')), _negated=True), _connector='OR'), name='position_not_its_own_parent'), models.CheckConstraint(condition=models.Q(('hand__in', ['left', 'right', 'none'])), name='position_hand_known')],
                },
            ), migrations.CreateModel(
                name='PartDesign',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('number', models.CharField(max_length=60, verbose_name='part number')),
                    ('revision', models.CharField(default='A', max_length=12, verbose_name='revision')),
                    ('name', models.CharField(max_length=120, verbose_name='name')),
                    ('hand', models.CharField(choices=[('left', 'left'), ('right', 'right'), ('none', 'no hand')], default='none', max_length=5, verbose_name='hand')),
                    ('mirror', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='mirrored_by', to='shop.partdesign')),
                    ('structural_class', models.CharField(choices=[('primary', 'primary structure'), ('secondary', 'secondary structure'), ('non_structural', 'non-structural')], default='secondary', max_length=16, verbose_name='structural class')),
                    ('is_coupon', models.BooleanField(default=False, verbose_name='test coupon')),
                ],
                options={
                    'ordering': ('number', 'revision'),
                    'constraints': [models.UniqueConstraint(fields=('number', 'revision'), name='design_number_and_revision_once', violation_error_message='This number and revision exist already.'), models.CheckConstraint(condition=models.Q(('hand__in', ['left', 'right', 'none'])), name='design_hand_known'), models.CheckConstraint(condition=models.Q(('structural_class__in', ['primary', 'secondary', 'non_structural'])), name='design_structural_class_known'), models.CheckConstraint(condition=models.Q(('mirror__isnull', True), models.Q(('mirror', models.F('id')), _negated=True), _connector='OR'), name='design_not_its_own_mirror')],
                },
            ), migrations.CreateModel(
                name='Part',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('design', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='parts', to='shop.partdesign')),
                    ('serial', models.CharField(max_length=60, unique=True, verbose_name='serial')),
                    ('state', models.CharField(choices=[('good', 'in use'), ('suspect', 'suspect'), ('scrapped', 'scrapped')], default='good', max_length=10)),
                    ('note', models.CharField(blank=True, max_length=200, verbose_name='note')),
                    ('uuid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                    ('mass_mg', models.PositiveBigIntegerField(editable=False, null=True)),
                    ('mass_is_estimate', models.BooleanField(default=False, editable=False)),
                ],
                options={
                    'ordering': ('serial',),
                    'constraints': [models.CheckConstraint(condition=models.Q(('state__in', ['good', 'suspect', 'scrapped'])), name='part_state_known')],
                },
            ), migrations.CreateModel(
                name='Lineage',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lineage', to='shop.part')),
                    ('kind', models.CharField(choices=[('pulled', 'pulled from a mold'), ('bonded', 'bonded from parts'), ('cut', 'cut from a part'), ('bought', 'bought'), ('made', 'made in the shop')], max_length=8)),
                    ('source', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='made_into', to='shop.part')),
                    ('pull', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='yields', to='shop.pull')),
                    ('note', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['pulled', 'bonded', 'cut', 'bought', 'made'])), name='lineage_kind_known'), models.CheckConstraint(condition=models.Q(('source__isnull', True), models.Q(('source', models.F('part')), _negated=True), _connector='OR'), name='lineage_not_itself')],
                },
            ), migrations.CreateModel(
                name='PlacementAct',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='placement_acts', to='shop.part')),
                    ('airframe', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.airframe')),
                    ('position', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.position')),
                    ('placed', models.BooleanField()),
                    ('note', models.CharField(blank=True, max_length=200)),
                    ('questions', models.CharField(blank=True, max_length=60)),
                ],
                options={
                    'constraints': [models.CheckConstraint(condition=models.Q(('questions', ''), models.Q(('note', ''), _negated=True), _connector='OR'), name='placement_questioned_with_a_reason'), models.CheckConstraint(condition=models.Q(('placed', True), models.Q(('note', ''), _negated=True), _connector='OR'), name='placement_removed_with_a_reason')],
                },
            ), migrations.CreateModel(
                name='Placement',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='placements', to='shop.part')),
                    ('airframe', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='placements', to='shop.airframe')),
                    ('position', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='placements', to='shop.position')),
                    ('placed_by_entry', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('removed_by_entry', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('placed_at', models.DateTimeField()),
                    ('removed_at', models.DateTimeField(blank=True, null=True)),
                ],
                options={
                    'ordering': ('-placed_at',),
                    'constraints': [models.UniqueConstraint(condition=models.Q(('removed_at__isnull', True)), fields=('airframe', 'position'), name='placement_one_open_per_position', violation_error_message='Another part sits in this position.'), models.UniqueConstraint(condition=models.Q(('removed_at__isnull', True)), fields=('part',), name='placement_one_open_per_part', violation_error_message='This part already sits in a position.'), models.CheckConstraint(condition=models.Q(models.Q(('removed_at__isnull', True), ('removed_by_entry__isnull', True)), models.Q(('removed_at__isnull', False), ('removed_by_entry__isnull', False)), _connector='OR'), name='placement_removed_by_an_act')],
                },
            ), migrations.CreateModel(
                name='Material',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('code', models.CharField(max_length=40, unique=True, verbose_name='code')),
                    ('name', models.CharField(max_length=120, verbose_name='name')),
                    ('kind', models.CharField(choices=[('resin', 'resin'), ('hardener', 'hardener'), ('fiber', 'reinforcement'), ('prepreg', 'prepreg'), ('core', 'core'), ('release', 'release'), ('filler', 'filler, primer'), ('adhesive', 'adhesive'), ('other', 'other')], max_length=8, verbose_name='kind')),
                    ('density', models.PositiveIntegerField(blank=True, help_text='kg per cubic meter', null=True, verbose_name='density')),
                    ('areal_mass', models.PositiveIntegerField(blank=True, help_text='g per square meter', null=True, verbose_name='mass per area')),
                    ('thickness_nm', models.PositiveBigIntegerField(blank=True, null=True, verbose_name='thickness (core)')),
                    ('out_time_limit', models.PositiveIntegerField(blank=True, help_text='hours', null=True, verbose_name='out-time limit')),
                    ('pot_minutes', models.PositiveIntegerField(blank=True, help_text='minutes', null=True, verbose_name='pot time')),
                    ('ratio', models.PositiveIntegerField(blank=True, help_text='g', null=True, verbose_name='hardener per kg of resin')),
                ],
                options={
                    'ordering': ('code',),
                    'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['resin', 'hardener', 'fiber', 'prepreg', 'core', 'release', 'filler', 'adhesive', 'other'])), name='material_kind_known')],
                },
            ), migrations.CreateModel(
                name='Lot',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('material', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lots', to='shop.material')),
                    ('number', models.CharField(max_length=60, verbose_name='lot number')),
                    ('received_on', models.DateField(verbose_name='received')),
                    ('expires_on', models.DateField(blank=True, null=True, verbose_name='expires')),
                    ('amount', models.CharField(blank=True, max_length=40, verbose_name='amount')),
                    ('place', models.CharField(blank=True, max_length=80, verbose_name='where')),
                    ('opened_on', models.DateField(editable=False, null=True)),
                    ('out_minutes', models.PositiveIntegerField(default=0)),
                    ('state', models.CharField(choices=[('good', 'in use'), ('held', 'on hold'), ('used_up', 'used up')], default='good', max_length=8)),
                ],
                options={
                    'ordering': ('material__code', 'number'),
                    'indexes': [models.Index(fields=['state', 'expires_on'], name='shop_lot_state_960918_idx')],
                    'constraints': [models.UniqueConstraint(fields=('material', 'number'), name='lot_number_once_per_material'), models.CheckConstraint(condition=models.Q(('state__in', ['good', 'held', 'used_up'])), name='lot_state_known')],
                },
            ), migrations.CreateModel(
                name='LotAct',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='acts', to='shop.lot')),
                    ('kind', models.CharField(choices=[('received', 'received'), ('opened', 'opened'), ('out', 'out of the cold'), ('moved', 'moved'), ('used_up', 'used up')], max_length=8)),
                    ('minutes', models.PositiveIntegerField(null=True)),
                    ('temperature', models.IntegerField(help_text='0.001 degC', null=True)),
                    ('note', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['received', 'opened', 'out', 'moved', 'used_up'])), name='lot_act_kind_known')],
                },
            ), migrations.CreateModel(
                name='CureRecipe',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('name', models.CharField(max_length=80, unique=True, verbose_name='name')),
                    ('ramp_most', models.PositiveIntegerField(blank=True, null=True, verbose_name='fastest ramp')),
                    ('dwell_low', models.IntegerField(verbose_name='dwell from')),
                    ('dwell_high', models.IntegerField(verbose_name='dwell to')),
                    ('dwell_minutes', models.PositiveIntegerField(verbose_name='dwell at least')),
                    ('peak_most', models.IntegerField(blank=True, null=True, verbose_name='peak at most')),
                    ('minutes_to_release', models.PositiveIntegerField(verbose_name='minutes to release')),
                ],
                options={
                    'ordering': ('name',),
                },
            ), migrations.CreateModel(
                name='Laminate',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('code', models.CharField(max_length=40, verbose_name='code')),
                    ('revision', models.CharField(default='A', max_length=12, verbose_name='revision')),
                    ('name', models.CharField(max_length=120, verbose_name='name')),
                    ('design', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='laminates', to='shop.partdesign')),
                    ('resin', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.material', verbose_name='resin')),
                    ('recipe', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='laminates', to='shop.curerecipe')),
                    ('fiber_fraction_ppm', models.PositiveIntegerField(verbose_name='fiber volume fraction')),
                    ('loss_ppm', models.PositiveIntegerField(default=0, verbose_name='resin loss')),
                    ('spread_ppm', models.PositiveIntegerField(default=30000, verbose_name='spread of the resin fraction')),
                    ('core_uptake', models.PositiveIntegerField(default=0, verbose_name='core uptake')),
                ],
                options={
                    'ordering': ('code', 'revision'),
                    'constraints': [models.UniqueConstraint(fields=('code', 'revision'), name='laminate_revision_once'), models.CheckConstraint(condition=models.Q(('fiber_fraction_ppm__gt', 0), ('fiber_fraction_ppm__lt', 1000000)), name='laminate_fiber_fraction_in_range')],
                },
            ), migrations.CreateModel(
                name='Ply',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('laminate', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='plies', to='shop.laminate')),
                    ('order', models.PositiveIntegerField()),
                    ('area_name', models.CharField(max_length=60)),
                    ('area_mm2', models.PositiveBigIntegerField()),
                    ('material', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.material')),
                    ('orientation', models.SmallIntegerField(default=0, help_text='degrees')),
                ],
                options={
                    'verbose_name_plural': 'plies',
                    'ordering': ('laminate', 'order'),
                },
            ), migrations.CreateModel(
                name='Tool',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('kind', models.CharField(choices=[('plug', 'plug'), ('mold', 'mold'), ('trim_jig', 'trim jig'), ('drill_jig', 'drill jig'), ('assembly_jig', 'assembly jig'), ('template', 'template'), ('loan', 'thing on loan')], max_length=12, verbose_name='kind')),
                    ('code', models.CharField(max_length=40, unique=True, verbose_name='code')),
                    ('name', models.CharField(max_length=120, verbose_name='name')),
                    ('hand', models.CharField(choices=[('left', 'left'), ('right', 'right'), ('none', 'no hand')], default='none', max_length=5, verbose_name='hand')),
                    ('mirror', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='mirrored_by', to='shop.tool')),
                    ('design', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='tools', to='shop.partdesign', verbose_name='makes the design')),
                    ('surface_revision', models.CharField(blank=True, max_length=12, verbose_name='surface revision')),
                    ('plug', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='molds', to='shop.tool', verbose_name='from the plug')),
                    ('place', models.CharField(blank=True, max_length=80, verbose_name='where it stands')),
                    ('condition', models.CharField(blank=True, max_length=200, verbose_name='condition')),
                    ('owner', models.CharField(blank=True, help_text="Empty: the shop's own.", max_length=80, verbose_name='owner')),
                    ('on_loan_since', models.DateField(blank=True, null=True, verbose_name='on loan since')),
                    ('due_back', models.DateField(blank=True, null=True, verbose_name='due back')),
                    ('service_interval', models.PositiveIntegerField(blank=True, null=True, verbose_name='pulls between services')),
                    ('expected_life', models.PositiveIntegerField(blank=True, null=True, verbose_name='expected life in pulls')),
                    ('cost', models.PositiveBigIntegerField(blank=True, help_text='cents', null=True, verbose_name='cost')),
                    ('calibration_due', models.DateField(blank=True, null=True, verbose_name='calibration due')),
                    ('made_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                    ('state', models.CharField(choices=[('in_use', 'in use'), ('held', 'on hold'), ('retired', 'retired'), ('returned', 'returned')], default='in_use', max_length=8)),
                    ('state_reason', models.CharField(blank=True, max_length=200)),
                    ('waits_for', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.toolstep')),
                    ('waits_since', models.DateTimeField(editable=False, null=True)),
                    ('surface', models.PositiveIntegerField(default=0, editable=False)),
                    ('coats', models.PositiveIntegerField(default=0, editable=False)),
                    ('last_coat', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.releasecoat')),
                    ('pulls_since_wax', models.PositiveIntegerField(default=0, editable=False)),
                    ('last_pull', models.PositiveIntegerField(default=0, editable=False)),
                    ('pulls_since_service', models.PositiveIntegerField(default=0, editable=False)),
                    ('repaired', models.BooleanField(default=False, editable=False)),
                ],
                options={
                    'ordering': ('code',),
                    'indexes': [models.Index(fields=['state', 'waits_since'], name='shop_tool_state_5ac34c_idx'), models.Index(fields=['kind', 'code'], name='shop_tool_kind_995f05_idx'), models.Index(condition=models.Q(('calibration_due__isnull', False)), fields=['calibration_due'], name='tool_calibration_due'), models.Index(condition=models.Q(('due_back__isnull', False)), fields=['due_back'], name='tool_due_back'), models.Index(condition=models.Q(('pulls_since_service__gte', models.F('service_interval'))), fields=['code'], name='tool_service_due')],
                    'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['plug', 'mold', 'trim_jig', 'drill_jig', 'assembly_jig', 'template', 'loan'])), name='tool_kind_known'), models.CheckConstraint(condition=models.Q(('state__in', ['in_use', 'held', 'retired', 'returned'])), name='tool_state_known'), models.CheckConstraint(condition=models.Q(('plug__isnull', True), models.Q(('plug', models.F('id')), _negated=True), _connector='OR'), name='tool_not_from_itself')],
                },
            ), migrations.CreateModel(
                name='ToolAct',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('tool', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='acts', to='shop.tool')),
                    ('kind', models.CharField(choices=[('retired', 'retired'), ('moved', 'moved'), ('condition', 'condition noted'), ('serviced', 'serviced'), ('calibrated', 'calibrated'), ('stripped', 'surface stripped'), ('lent', 'taken on loan'), ('returned', 'returned'), ('revised', 'surface revised')], max_length=10)),
                    ('note', models.CharField(blank=True, max_length=200)),
                    ('until', models.DateField(null=True)),
                ],
                options={
                    'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['retired', 'moved', 'condition', 'serviced', 'calibrated', 'stripped', 'lent', 'returned', 'revised'])), name='tool_act_kind_known')],
                },
            ), migrations.CreateModel(
                name='ToolDefect',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('tool', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='defects', to='shop.tool')),
                    ('what', models.CharField(max_length=200)),
                    ('place', models.CharField(max_length=120)),
                    ('first_pull', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='defects_first_seen', to='shop.pull')),
                    ('photo', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='tool_defects', to='shop.photo')),
                    ('x_ppm', models.PositiveIntegerField(null=True)),
                    ('y_ppm', models.PositiveIntegerField(null=True)),
                ],
                options={
                    'abstract': False,
                },
            ), migrations.CreateModel(
                name='DefectRepair',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('defect', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='repair', to='shop.tooldefect')),
                    ('note', models.CharField(max_length=200)),
                ],
                options={
                    'abstract': False,
                },
            ), migrations.CreateModel(
                name='Machine',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('name', models.CharField(max_length=80, unique=True, verbose_name='name')),
                    ('note', models.CharField(blank=True, max_length=200, verbose_name='note')),
                    ('play_limit_nm', models.PositiveBigIntegerField(blank=True, null=True, verbose_name='largest play allowed')),
                    ('play_limit_text', models.CharField(blank=True, max_length=40)),
                ],
                options={
                    'ordering': ('name',),
                },
            ), migrations.CreateModel(
                name='AxisPlay',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('machine', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='play', to='shop.machine')),
                    ('axis', models.CharField(choices=[('x', 'X'), ('y', 'Y'), ('z', 'Z')], max_length=1)),
                    ('measured_on', models.DateField()),
                    ('play_nm', models.PositiveBigIntegerField()),
                    ('play_text', models.CharField(max_length=40)),
                    ('note', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'verbose_name_plural': 'axis play',
                    'indexes': [models.Index(fields=['machine', 'measured_on'], name='shop_axispl_machine_578933_idx')],
                },
            ), migrations.CreateModel(
                name='MillingSetup',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('tool', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='milling', to='shop.tool')),
                    ('machine', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='setups', to='shop.machine')),
                    ('milled_on', models.DateField()),
                    ('radius_nm', models.PositiveBigIntegerField()),
                    ('radius_text', models.CharField(max_length=40)),
                    ('stepover_nm', models.PositiveBigIntegerField()),
                    ('stepover_text', models.CharField(max_length=40)),
                    ('stock_nm', models.BigIntegerField(null=True)),
                    ('stock_text', models.CharField(blank=True, max_length=40)),
                    ('sanding_nm', models.PositiveBigIntegerField(null=True)),
                    ('sanding_text', models.CharField(blank=True, max_length=40)),
                    ('passes', models.PositiveIntegerField(default=1)),
                    ('one_way', models.BooleanField(default=False)),
                    ('slopes', models.JSONField(default=list)),
                    ('note', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'indexes': [models.Index(fields=['machine', 'milled_on'], name='shop_millin_machine_eb9967_idx')],
                },
            ), migrations.CreateModel(
                name='Person',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('password', models.CharField(max_length=128, verbose_name='password')),
                    ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                    ('username', models.CharField(max_length=60, unique=True, verbose_name='sign-in name')),
                    ('name', models.CharField(max_length=120, verbose_name='name')),
                    ('role', models.CharField(choices=[('builder', 'builder'), ('lead', 'shop lead'), ('engineer', 'engineer'), ('inspector', 'inspector'), ('visitor', 'visitor')], default='visitor', max_length=12, verbose_name='role')),
                    ('units', models.CharField(choices=[('mm', 'mm'), ('in', 'in')], default='mm', max_length=2, verbose_name='units')),
                    ('certificate_kind', models.CharField(blank=True, max_length=80)),
                    ('certificate_number', models.CharField(blank=True, max_length=80)),
                    ('pin', models.CharField(blank=True, editable=False, max_length=256)),
                    ('is_active', models.BooleanField(default=True)),
                    ('is_demo', models.BooleanField(default=False)),
                    ('must_change_password', models.BooleanField(default=False, editable=False)),
                    ('sessions_ended', models.PositiveIntegerField(default=0, editable=False)),
                    ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
                    ('seen_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ],
                options={
                    'verbose_name_plural': 'people',
                    'ordering': ('name',),
                    'constraints': [models.CheckConstraint(condition=models.Q(('role__in', ['builder', 'lead', 'engineer', 'inspector', 'visitor'])), name='person_role_known'), models.CheckConstraint(condition=models.Q(('units__in', ['mm', 'in'])), name='person_units_known')],
                },
            ), migrations.CreateModel(
                name='Photo',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('sha256', models.CharField(db_index=True, max_length=64)),
                    ('width', models.PositiveIntegerField()),
                    ('height', models.PositiveIntegerField()),
                    ('size', models.PositiveIntegerField()),
                    ('caption', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'abstract': False,
                },
            ), migrations.CreateModel(
                name='PhotoPin',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('photo', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='pins', to='shop.photo')),
                    ('subject_kind', models.CharField(max_length=20)),
                    ('subject_id', models.CharField(max_length=40)),
                    ('x_ppm', models.PositiveIntegerField(null=True)),
                    ('y_ppm', models.PositiveIntegerField(null=True)),
                    ('note', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'indexes': [models.Index(fields=['subject_kind', 'subject_id'], name='shop_photop_subject_6faade_idx')],
                    'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('x_ppm__isnull', True), ('y_ppm__isnull', True)), models.Q(('x_ppm__lte', 1000000), ('y_ppm__lte', 1000000)), _connector='OR'), name='photo_pin_inside_the_photo')],
                },
            ), migrations.CreateModel(
                name='Pull',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('tool', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='pulls', to='shop.tool')),
                    ('number', models.PositiveIntegerField()),
                    ('laminate', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='pulls', to='shop.laminate')),
                    ('started_entry', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('surface', models.PositiveIntegerField()),
                    ('after_repair', models.BooleanField(default=False)),
                    ('reason', models.CharField(blank=True, max_length=200)),
                    ('temperature', models.IntegerField(help_text='0.001 degC', null=True)),
                    ('humidity', models.PositiveIntegerField(help_text='0.01 %', null=True)),
                    ('started_at', models.DateTimeField()),
                    ('state', models.CharField(choices=[('laid_up', 'laying up'), ('curing', 'curing'), ('demolded', 'out of the mold'), ('void', 'void')], default='laid_up', max_length=8)),
                    ('closed_at', models.DateTimeField(null=True)),
                    ('release_from', models.DateTimeField(null=True)),
                    ('demolded_at', models.DateTimeField(null=True)),
                    ('minutes', models.PositiveIntegerField(default=0)),
                    ('void_reason', models.CharField(blank=True, max_length=200)),
                    ('cure', models.CharField(blank=True, choices=[('met', 'cure met'), ('not_met', 'cure not met'), ('open', 'cure open')], max_length=8)),
                ],
                options={
                    'ordering': ('tool', '-number'),
                    'indexes': [models.Index(fields=['state', 'release_from'], name='shop_pull_state_0b0848_idx'), models.Index(fields=['tool', 'started_at'], name='shop_pull_tool_id_85dcd2_idx')],
                    'constraints': [models.UniqueConstraint(fields=('tool', 'number'), name='pull_number_once_per_mold'), models.CheckConstraint(condition=models.Q(('state__in', ['laid_up', 'curing', 'demolded', 'void'])), name='pull_state_known'), models.CheckConstraint(condition=models.Q(('cure__in', ['', 'met', 'not_met', 'open'])), name='pull_cure_known'), models.CheckConstraint(condition=models.Q(('closed_at__isnull', True), ('closed_at__gte', models.F('started_at')), _connector='OR'), name='pull_closed_after_its_start'), models.CheckConstraint(condition=models.Q(('demolded_at__isnull', True), models.Q(('closed_at__isnull', False), ('demolded_at__gte', models.F('closed_at'))), _connector='OR'), name='pull_demolded_after_its_layup'), models.CheckConstraint(condition=models.Q(('state', 'void'), ('void_reason', ''), _connector='OR'), name='pull_void_reason_of_a_void_one')],
                },
            ), migrations.CreateModel(
                name='PlyLaid',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('pull', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plies_laid', to='shop.pull')),
                    ('order', models.PositiveIntegerField()),
                    ('area_name', models.CharField(max_length=60)),
                    ('material', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.material')),
                    ('lot', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='plies', to='shop.lot')),
                    ('orientation', models.SmallIntegerField(default=0)),
                    ('planned', models.BooleanField(default=True)),
                    ('witness', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='plies_witnessed', to=settings.AUTH_USER_MODEL)),
                    ('reason', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'verbose_name_plural': 'plies laid',
                    'ordering': ('pull', 'order', 'pk'),
                },
            ), migrations.CreateModel(
                name='ResinBatch',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('pull', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='batches', to='shop.pull')),
                    ('resin_lot', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='resin_batches', to='shop.lot')),
                    ('hardener_lot', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='hardener_batches', to='shop.lot')),
                    ('resin_mg', models.PositiveBigIntegerField()),
                    ('resin_text', models.CharField(max_length=40)),
                    ('hardener_mg', models.PositiveBigIntegerField()),
                    ('hardener_text', models.CharField(max_length=40)),
                    ('off_bp', models.IntegerField(null=True)),
                    ('mixed_at', models.DateTimeField()),
                    ('pot_minutes', models.PositiveIntegerField(null=True)),
                    ('temperature', models.IntegerField(help_text='0.001 degC', null=True)),
                    ('reason', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'verbose_name_plural': 'resin batches',
                },
            ), migrations.CreateModel(
                name='BagTest',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('pull', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='bag_tests', to='shop.pull')),
                    ('level_pa', models.PositiveIntegerField()),
                    ('level_text', models.CharField(max_length=40)),
                    ('after_pa', models.PositiveIntegerField(null=True)),
                    ('after_text', models.CharField(blank=True, max_length=40)),
                    ('minutes', models.PositiveIntegerField(null=True)),
                    ('passes', models.BooleanField(null=True)),
                    ('note', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'abstract': False,
                },
            ), migrations.CreateModel(
                name='CureTrace',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('pull', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='traces', to='shop.pull')),
                    ('recipe', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.curerecipe')),
                    ('file_name', models.CharField(max_length=120)),
                    ('text', models.TextField()),
                    ('sha256', models.CharField(max_length=64)),
                    ('met', models.BooleanField()),
                    ('method', models.CharField(max_length=20)),
                    ('found', models.JSONField(default=dict)),
                    ('complaints', models.JSONField(default=list)),
                ],
                options={
                    'abstract': False,
                },
            ), migrations.CreateModel(
                name='Work',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('pull', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='work', to='shop.pull')),
                    ('minutes', models.PositiveIntegerField()),
                    ('what', models.CharField(blank=True, max_length=120)),
                ],
                options={
                    'verbose_name_plural': 'work',
                },
            ), migrations.CreateModel(
                name='Demold',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('pull', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='demold', to='shop.pull')),
                    ('demolded_at', models.DateTimeField()),
                    ('release', models.CharField(choices=[('clean', 'came out clean'), ('stuck', 'stuck in places'), ('forced', 'had to be forced'), ('damaged', 'part or mold damaged')], max_length=8)),
                    ('where_stuck', models.CharField(blank=True, max_length=200)),
                    ('reason', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'constraints': [models.CheckConstraint(condition=models.Q(('release__in', ['clean', 'stuck', 'forced', 'damaged'])), name='demold_release_known')],
                },
            ), migrations.CreateModel(
                name='ReleaseProduct',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('name', models.CharField(max_length=80, unique=True, verbose_name='name')),
                    ('kind', models.CharField(choices=[('sealer', 'sealer'), ('wax', 'paste wax'), ('semi', 'semi-permanent'), ('film', 'film (PVA)')], max_length=6, verbose_name='kind')),
                    ('minutes_between', models.PositiveIntegerField(verbose_name='minutes to the next coat')),
                    ('minutes_before_layup', models.PositiveIntegerField(verbose_name='minutes to the lay-up')),
                    ('coats_new', models.PositiveIntegerField(default=1, verbose_name='coats on a new surface')),
                    ('rewax_every', models.PositiveIntegerField(blank=True, null=True, verbose_name='again after so many pulls')),
                    ('source', models.CharField(blank=True, max_length=200, verbose_name='where the rule comes from')),
                ],
                options={
                    'ordering': ('name',),
                    'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['sealer', 'wax', 'semi', 'film'])), name='release_kind_known')],
                },
            ), migrations.CreateModel(
                name='ReleaseCoat',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('tool', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='release_coats', to='shop.tool')),
                    ('product', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='coats', to='shop.releaseproduct')),
                    ('lot', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='coats', to='shop.lot')),
                    ('applied_at', models.DateTimeField()),
                    ('surface', models.PositiveIntegerField()),
                    ('number', models.PositiveIntegerField()),
                    ('reason', models.CharField(blank=True, max_length=200)),
                    ('note', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'indexes': [models.Index(fields=['tool', 'applied_at'], name='shop_releas_tool_id_b3234d_idx')],
                },
            ), migrations.CreateModel(
                name='RouteStep',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('kind', models.CharField(choices=[('plug', 'plug'), ('mold', 'mold'), ('trim_jig', 'trim jig'), ('drill_jig', 'drill jig'), ('assembly_jig', 'assembly jig'), ('template', 'template'), ('loan', 'thing on loan')], max_length=12, verbose_name='kind of tool')),
                    ('order', models.PositiveIntegerField(verbose_name='order')),
                    ('name', models.CharField(max_length=60, verbose_name='step')),
                    ('role', models.CharField(blank=True, choices=[('builder', 'builder'), ('lead', 'shop lead'), ('engineer', 'engineer'), ('inspector', 'inspector'), ('visitor', 'visitor')], max_length=12, verbose_name='who can take it')),
                ],
                options={
                    'ordering': ('kind', 'order', 'pk'),
                },
            ), migrations.CreateModel(
                name='ToolStep',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('tool', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='shop.tool')),
                    ('order', models.PositiveIntegerField()),
                    ('name', models.CharField(max_length=60, verbose_name='step')),
                    ('role', models.CharField(blank=True, choices=[('builder', 'builder'), ('lead', 'shop lead'), ('engineer', 'engineer'), ('inspector', 'inspector'), ('visitor', 'visitor')], max_length=12)),
                    ('done', models.PositiveIntegerField(default=0, editable=False)),
                ],
                options={
                    'ordering': ('tool', 'order', 'pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('role', ''), ('role__in', ['builder', 'lead', 'engineer', 'inspector', 'visitor']), _connector='OR'), name='tool_step_role_known')],
                },
            ), migrations.CreateModel(
                name='StepDone',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('tool', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='steps_done', to='shop.tool')),
                    ('step', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='times_done', to='shop.toolstep')),
                    ('done_at', models.DateTimeField()),
                    ('reason', models.CharField(blank=True, max_length=200)),
                    ('product', models.CharField(blank=True, max_length=120)),
                    ('lot', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='shop.lot')),
                    ('mix', models.CharField(blank=True, max_length=80)),
                    ('temperature', models.IntegerField(help_text='0.001 degC', null=True)),
                    ('humidity', models.PositiveIntegerField(help_text='0.01 %', null=True)),
                    ('minutes', models.PositiveIntegerField(null=True)),
                    ('note', models.CharField(blank=True, max_length=400)),
                    ('photo', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='shop.photo')),
                ],
                options={
                    'verbose_name_plural': 'steps done',
                    'indexes': [models.Index(fields=['tool', 'done_at'], name='shop_stepdo_tool_id_c577ab_idx')],
                },
            ), migrations.CreateModel(
                name='Hold',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('subject_kind', models.CharField(max_length=12)),
                    ('subject_id', models.BigIntegerField()),
                    ('label', models.CharField(max_length=200)),
                    ('reason', models.CharField(max_length=200)),
                    ('spreads', models.BooleanField(default=True)),
                    ('entry', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('lifted_entry', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                ],
                options={
                    'ordering': ('-pk',),
                    'constraints': [models.UniqueConstraint(condition=models.Q(('lifted_entry__isnull', True)), fields=('subject_kind', 'subject_id'), name='hold_one_open_per_thing', violation_error_message='It is on hold already.')],
                },
            ), migrations.CreateModel(
                name='HoldAct',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('hold', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='acts', to='shop.hold')),
                    ('lifted', models.BooleanField(default=False)),
                    ('reason', models.CharField(max_length=200)),
                ],
                options={
                    'abstract': False,
                },
            ), migrations.CreateModel(
                name='Suspect',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('hold', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='suspects', to='shop.hold')),
                    ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='suspicions', to='shop.part')),
                    ('decided_entry', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                ],
                options={
                    'constraints': [models.UniqueConstraint(fields=('hold', 'part'), name='suspect_once_per_hold')],
                },
            ), migrations.CreateModel(
                name='SuspectDecision',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('suspect', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='decision', to='shop.suspect')),
                    ('decision', models.CharField(choices=[('good', 'good: not affected'), ('scrap', 'scrap')], max_length=5)),
                    ('reason', models.CharField(max_length=200)),
                ],
                options={
                    'abstract': False,
                },
            ), migrations.CreateModel(
                name='Tablet',
                fields=[
                    ('id', models.UUIDField(default=uuid.uuid4, primary_key=True, serialize=False)),
                    ('name', models.CharField(max_length=60)),
                    ('token_sha256', models.CharField(max_length=64, unique=True)),
                    ('enrolled_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ('enrolled_at', models.DateTimeField()),
                    ('revoked_at', models.DateTimeField(blank=True, null=True)),
                    ('seen_at', models.DateTimeField(blank=True, null=True)),
                ],
                options={
                    'ordering': ('name',),
                },
            ), migrations.CreateModel(
                name='Proof',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('tablet', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='proofs', to='shop.tablet')),
                    ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='proofs', to=settings.AUTH_USER_MODEL)),
                    ('until', models.DateTimeField()),
                ],
                options={
                    'constraints': [models.UniqueConstraint(fields=('tablet', 'person'), name='proof_once_per_tablet_and_person')],
                },
            ), migrations.CreateModel(
                name='PinTry',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('tablet', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='pin_tries', to='shop.tablet')),
                    ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='pin_tries', to=settings.AUTH_USER_MODEL)),
                    ('at', models.DateTimeField()),
                    ('right', models.BooleanField()),
                ],
                options={
                    'indexes': [models.Index(fields=['person', 'at'], name='shop_pintry_person__13eda1_idx')],
                },
            ), migrations.CreateModel(
                name='Confirmation',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('of', models.OneToOneField(db_column='of_act', on_delete=django.db.models.deletion.PROTECT, related_name='confirmation', to='shop.entry', to_field='act')),
                    ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='confirmations', to=settings.AUTH_USER_MODEL)),
                    ('verdict', models.CharField(choices=[('', 'proven'), ('claimed', 'claimed'), ('confirmed', 'confirmed'), ('disowned', 'disowned')], max_length=9)),
                    ('reason', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'constraints': [models.CheckConstraint(condition=models.Q(('verdict', 'confirmed'), models.Q(('verdict', 'disowned'), models.Q(('reason', ''), _negated=True)), _connector='OR'), name='confirmation_disowned_with_a_reason')],
                },
            ), migrations.CreateModel(
                name='Visit',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('person', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='visit', to=settings.AUTH_USER_MODEL)),
                    ('read_up_to', models.BigIntegerField(default=0)),
                    ('read_at', models.DateTimeField(null=True)),
                ],
            ), migrations.CreateModel(
                name='Weighing',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='weighings', to='shop.part')),
                    ('stage', models.CharField(choices=[('untrimmed', 'untrimmed'), ('trimmed', 'trimmed'), ('primed', 'primed'), ('finished', 'finished')], max_length=9)),
                    ('mass_mg', models.PositiveBigIntegerField()),
                    ('mass_text', models.CharField(max_length=40)),
                    ('estimate', models.BooleanField(default=False)),
                    ('scale', models.CharField(blank=True, max_length=60)),
                    ('weighed_on', models.DateField()),
                    ('expected_mg', models.PositiveBigIntegerField(null=True)),
                    ('low_mg', models.PositiveBigIntegerField(null=True)),
                    ('high_mg', models.PositiveBigIntegerField(null=True)),
                    ('reason', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'ordering': ('part', '-weighed_on', '-pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('stage__in', ['untrimmed', 'trimmed', 'primed', 'finished'])), name='weighing_stage_known'), models.CheckConstraint(condition=models.Q(('estimate', True), models.Q(('scale', ''), _negated=True), _connector='OR'), name='weighing_names_its_scale')],
                },
            ), migrations.CreateModel(
                name='AirframeWeighing',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('airframe', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='weighings', to='shop.airframe')),
                    ('mass_mg', models.PositiveBigIntegerField()),
                    ('mass_text', models.CharField(max_length=40)),
                    ('arm_nm', models.BigIntegerField(null=True)),
                    ('arm_text', models.CharField(blank=True, max_length=40)),
                    ('scale', models.CharField(max_length=60)),
                    ('weighed_on', models.DateField()),
                    ('note', models.CharField(blank=True, max_length=200)),
                ],
                options={
                    'ordering': ('airframe', '-weighed_on', '-pk'),
                },
            ), migrations.CreateModel(
                name='SignInTry',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('name', models.CharField(max_length=64)),
                    ('address', models.CharField(blank=True, max_length=45)),
                    ('at', models.DateTimeField()),
                    ('right', models.BooleanField(default=False)),
                ],
                options={
                    'indexes': [models.Index(fields=['address', 'at'], name='sign_in_try_by_address'), models.Index(fields=['name', 'at'], name='sign_in_try_by_name'), models.Index(fields=['at'], name='sign_in_try_by_time')],
                },
            ), migrations.CreateModel(
                name='ShopIdentity',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('name', models.CharField(max_length=80, verbose_name='name of the shop')),
                    ('time_zone', models.CharField(max_length=60, verbose_name='time zone')),
                    ('units', models.CharField(choices=[('mm', 'mm'), ('in', 'in')], max_length=2, verbose_name='units')),
                    ('paper', models.CharField(choices=[('a4', 'A4'), ('letter', 'US Letter')], max_length=6, verbose_name='paper')),
                    ('mark', models.CharField(blank=True, max_length=64, verbose_name='mark')),
                ],
                options={
                    'ordering': ('id',),
                    'constraints': [models.CheckConstraint(condition=models.Q(('units__in', ['mm', 'in']), ('paper__in', ['a4', 'letter'])), name='shop_units_and_paper_known')],
                },
            ), migrations.CreateModel(
                name='Withdrawal',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('coat', models.OneToOneField(null=True, on_delete=django.db.models.deletion.PROTECT, to='shop.releasecoat')),
                    ('step', models.OneToOneField(null=True, on_delete=django.db.models.deletion.PROTECT, to='shop.stepdone')),
                    ('reason', models.CharField(max_length=200)),
                ],
                options={
                    'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('coat__isnull', False), ('step__isnull', True)), models.Q(('coat__isnull', True), ('step__isnull', False)), _connector='OR'), name='withdrawal_of_one_thing')],
                },
            ), migrations.CreateModel(
                name='TemporaryItem',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('number', models.PositiveIntegerField()),
                    ('kind', models.CharField(choices=[('cleco', 'cleco'), ('clamp', 'clamp'), ('shim', 'shim'), ('prop', 'prop'), ('strap', 'strap'), ('film', 'protective film'), ('tape', 'tape'), ('packing', 'packing'), ('ballast', 'ballast'), ('board', 'board'), ('mock_up', 'mock-up'), ('borrowed', 'borrowed thing'), ('hole', 'hole drilled for holding')], max_length=8)),
                    ('count', models.PositiveIntegerField(verbose_name='how many')),
                    ('size', models.CharField(blank=True, max_length=20, verbose_name='size')),
                    ('place', models.CharField(blank=True, max_length=200, verbose_name='where')),
                    ('spots', models.JSONField(blank=True, default=list)),
                    ('why', models.CharField(max_length=200, verbose_name='why')),
                    ('stands_for', models.CharField(blank=True, max_length=120, verbose_name='stands in for')),
                    ('owner', models.CharField(blank=True, max_length=120, verbose_name='borrowed from')),
                    ('airframe', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='temporary', to='shop.airframe')),
                    ('bay', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='temporary', to='shop.position')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                ],
                options={
                    'ordering': ('airframe', 'number'),
                    'constraints': [models.UniqueConstraint(fields=('airframe', 'number'), name='temporary_number_once'), models.CheckConstraint(condition=models.Q(('kind__in', ['cleco', 'clamp', 'shim', 'prop', 'strap', 'film', 'tape', 'packing', 'ballast', 'board', 'mock_up', 'borrowed', 'hole'])), name='temporary_kind_known'), models.CheckConstraint(condition=models.Q(('count__gte', 1)), name='temporary_at_least_one'), models.CheckConstraint(condition=models.Q(('why', ''), _negated=True), name='temporary_with_a_why')],
                },
            ), migrations.CreateModel(
                name='TemporaryStep',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('verb', models.CharField(choices=[('take_out', 'taken out'), ('miss', 'cannot be found'), ('find', 'found, and out'), ('release', 'released')], max_length=8)),
                    ('count', models.PositiveIntegerField(verbose_name='how many')),
                    ('spots', models.JSONField(blank=True, default=list)),
                    ('note', models.CharField(blank=True, max_length=200, verbose_name='note')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='shop.temporaryitem')),
                ],
                options={
                    'ordering': ('id',),
                    'constraints': [models.CheckConstraint(condition=models.Q(('verb__in', ['take_out', 'miss', 'find', 'release'])), name='temporary_verb_known'), models.CheckConstraint(condition=models.Q(('count__gte', 1)), name='temporary_step_at_least_one'), models.CheckConstraint(condition=models.Q(models.Q(('verb', 'release'), _negated=True), models.Q(('note', ''), _negated=True), _connector='OR'), name='temporary_released_with_a_reason')],
                },
            ), migrations.CreateModel(
                name='TemporaryState',
                fields=[
                    ('item', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, primary_key=True, related_name='state', serialize=False, to='shop.temporaryitem')),
                    ('count', models.PositiveIntegerField()),
                    ('inside', models.PositiveIntegerField()),
                    ('missing', models.PositiveIntegerField(default=0)),
                    ('out', models.PositiveIntegerField(default=0)),
                    ('released', models.PositiveIntegerField(default=0)),
                    ('spots', models.JSONField(blank=True, default=list)),
                    ('last_entry', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                ],
                options={
                    'constraints': [models.CheckConstraint(condition=models.Q(('count', django.db.models.expressions.CombinedExpression(django.db.models.expressions.CombinedExpression(django.db.models.expressions.CombinedExpression(models.F('inside'), '+', models.F('missing')), '+', models.F('out')), '+', models.F('released')))), name='temporary_in_is_out')],
                },
            ), migrations.CreateModel(
                name='Signature',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('kind', models.CharField(max_length=20)),
                    ('key', models.BigIntegerField()),
                    ('meaning', models.CharField(choices=[('performed', 'performed'), ('inspected', 'inspected'), ('approved', 'approved'), ('released', 'released for the next step')], max_length=10)),
                    ('name', models.CharField(max_length=120)),
                    ('role', models.CharField(choices=[('builder', 'builder'), ('lead', 'shop lead'), ('engineer', 'engineer'), ('inspector', 'inspector'), ('visitor', 'visitor')], max_length=12)),
                    ('certificate_kind', models.CharField(blank=True, max_length=80)),
                    ('certificate_number', models.CharField(blank=True, max_length=80)),
                    ('proven_by', models.CharField(choices=[('password', 'password'), ('pin', 'PIN')], max_length=8)),
                    ('content', models.TextField()),
                    ('digest', models.CharField(max_length=64)),
                    ('note', models.CharField(blank=True, max_length=200)),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                    ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='signatures', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('id',),
                    'indexes': [models.Index(fields=['kind', 'key'], name='signature_of_a_thing')],
                    'constraints': [models.UniqueConstraint(fields=('kind', 'key', 'meaning', 'person', 'digest'), name='signed_once_by_one_person'), models.CheckConstraint(condition=models.Q(('meaning__in', ['performed', 'inspected', 'approved', 'released'])), name='signature_meaning_known'), models.CheckConstraint(condition=models.Q(('proven_by__in', ['password', 'pin'])), name='signature_proven'), models.CheckConstraint(condition=models.Q(('name', ''), _negated=True), name='signature_with_a_name')],
                },
            ), migrations.CreateModel(
                name='BackupPlan',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('place', models.CharField(blank=True, max_length=400, verbose_name='folder on the server')),
                    ('hour', models.PositiveSmallIntegerField(default=2, validators=[django.core.validators.MaxValueValidator(23)], verbose_name='hour of the night')),
                    ('busy_acts', models.PositiveIntegerField(default=500, verbose_name='also after so many acts')),
                    ('days', models.PositiveSmallIntegerField(default=7, verbose_name='days kept')),
                    ('weeks', models.PositiveSmallIntegerField(default=5, verbose_name='weeks kept')),
                    ('months', models.PositiveSmallIntegerField(default=12, verbose_name='months kept')),
                    ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                ],
                options={
                    'ordering': ('-id',),
                },
            )],
        ),
    ]

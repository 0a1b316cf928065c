"""buildnetwork: from drawn lines to joints, outlets, flow and land above."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFeatureSink,
)

from .base import bulk_work
from .network_base import NetworkAlgorithm

_NUMBERS = {
    "PIPE_COUNT": "Pieces of pipe",
    "SYSTEM_COUNT": "Systems",
    "PROPOSED_JOINT_COUNT": "Proposed joints",
    "LOOSE_END_COUNT": "Loose ends",
    "NO_OUTLET_COUNT": "Drains without outlet",
}


class BuildNetwork(NetworkAlgorithm):
    """Builds the network of all drains."""

    id_ = "buildnetwork"
    title = "Build drain network"
    tags_ = ("network", "joints", "topology", "flow", "outlet", "lateral", "main")
    help_ = (
        "Joins lines of drains to a network, finds outlets and flow, and sums the land and the pipe above every "
        "piece.\n\n"
        "To do: choose the drains, and their structures (outlets, joints) and level shots if there are any, and run. "
        "Then go through the findings: their tables say what is wrong and what to do.\n\n"
        "Ends that meet a pipe are joined. Ends that nearly meet one are proposed and listed, never joined unasked. "
        "Water flows toward the outlet whatever way the lines were drawn. Nothing in the input is changed.\n\n"
        "Results: pieces of pipe between nodes, nodes, and findings about the network. A pipe whose fall nobody "
        "knows is marked unknown, never good."
    )

    def init_results(self):
        kinds = QgsProcessing.SourceType
        for key, label, kind, help_text in (
            ("PIPES", "Pipes", kinds.TypeVectorLine, "Pieces of pipe in flow direction."),
            ("NODES", "Nodes", kinds.TypeVectorPoint, "Outlets, joints and ends."),
            ("LINE_FINDINGS", "Findings on pipe", kinds.TypeVectorLine, "Stretches of pipe with a fault or a doubt."),
            ("POINT_FINDINGS", "Findings at places", kinds.TypeVectorPoint, "Places with a fault or a doubt."),
        ):
            self.add(QgsProcessingParameterFeatureSink(key, self.tr(label), kind, optional=True, createByDefault=True),
                     help_text)
        for key, label in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        import numpy as np

        from ..plugin.checks.case import Case
        from ..plugin.checks.catalogue import NETWORK_CHECKS
        from ..plugin.checks.run import CanceledError, run_checks
        from ..plugin.network.summary import say_first
        from .write_results import write_findings, write_nodes, write_pipes

        county = self.read_county(parameters, context, feedback)
        feedback.setProgress(40)
        for sentence in say_first(county.network):
            feedback.pushWarning(sentence)
        try:
            results = run_checks(Case(county), NETWORK_CHECKS, is_canceled=feedback.isCanceled)
        except CanceledError:
            raise QgsProcessingException("Canceled.") from None
        for crashed in results.crashed:
            feedback.reportError(f"Check {crashed.check.id} broke off: {crashed.error}")
        feedback.setProgress(60)
        net = county.network
        nodes = write_nodes(self, parameters, context, feedback, county, (60, 70))
        findings = write_findings(self, parameters, context, feedback, county, results.findings, (70, 80))
        pipes = write_pipes(self, parameters, context, feedback, county, np.arange(len(net.pieces)), percent=(80, 100))
        return {
            "PIPES": pipes,
            "NODES": nodes,
            **findings,
            "PIPE_COUNT": len(net.pieces),
            "SYSTEM_COUNT": net.system_count,
            "PROPOSED_JOINT_COUNT": int((~net.applied).sum()),
            "LOOSE_END_COUNT": len(results.findings.of("loose-end")),
            "NO_OUTLET_COUNT": len(net.drains_without_outlet),
        }
